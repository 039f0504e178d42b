"""A rating that verdicts rest on is corrected by a new revision, never overwritten."""

from django.db import migrations

from accounts.guards import guard


class Migration(migrations.Migration):
    dependencies = [("fleet", "0001_initial"), ("accounts", "0002_guards")]

    operations = [guard("fleet_ratingrevision")]
