"""A clamp that turns low with no calibration on file: what it read since stands in a row of its own, or as a doubt."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("inspections", "0007_due_date_chunks")]

    operations = [
        migrations.AddField(
            model_name="metereffect",
            name="since_day",
            field=models.IntegerField(default=-1, db_default=-1),
        ),
        migrations.AddField(
            model_name="metereffect",
            name="corroborated",
            field=models.BooleanField(default=True, db_default=True),
        ),
        migrations.RemoveConstraint(model_name="metereffect", name="meter_effect_once"),
        migrations.AddConstraint(
            model_name="metereffect",
            constraint=models.UniqueConstraint(
                fields=("meter", "calibrated_day", "since_day"), name="meter_effect_once"
            ),
        ),
    ]
