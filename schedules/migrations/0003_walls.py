"""The second wall: on PostgreSQL the database itself keeps organisations apart."""

from django.db import migrations

from accounts.walls import wall


class Migration(migrations.Migration):
    dependencies = [("schedules", "0001_initial"), ("accounts", "0003_walls")]

    operations = [
        wall(
            "schedules_checkplan",
            "schedules_duedate",
            "schedules_reminder",
        ),
    ]
