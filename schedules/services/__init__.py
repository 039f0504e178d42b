"""What schedules decides and writes: due dates and reminders."""
