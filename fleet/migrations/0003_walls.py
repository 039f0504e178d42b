"""The second wall: on PostgreSQL the database itself keeps organisations apart."""

from django.db import migrations

from accounts.walls import wall


class Migration(migrations.Migration):
    dependencies = [("fleet", "0002_guards"), ("accounts", "0003_walls")]

    operations = [
        wall(
            "fleet_counterreading",
            "fleet_installation",
            "fleet_ratingrevision",
            "fleet_relayboxtype",
            "fleet_retarder",
            "fleet_retardertype",
            "fleet_usagecounter",
            "fleet_vehicle",
        ),
    ]
