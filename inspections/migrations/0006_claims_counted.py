"""A chunk counts who has taken it on, so that one that has every worker killed is cut in two."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("inspections", "0005_rejudging_error")]

    operations = [
        migrations.AddField(
            model_name="trendchunk",
            name="claims",
            field=models.PositiveIntegerField(db_default=0, default=0),
        ),
    ]
