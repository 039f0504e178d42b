"""The second wall: on PostgreSQL the database itself keeps organisations apart."""

from django.db import migrations

from accounts.walls import wall, wall_with_key


class Migration(migrations.Migration):
    dependencies = [("inspections", "0002_guards"), ("accounts", "0003_walls")]

    operations = [
        wall_with_key("inspections_driverlink", key="uuid"),
        wall(
            "inspections_calibration",
            "inspections_decline",
            "inspections_defect",
            "inspections_defectstep",
            "inspections_extrareading",
            "inspections_inspection",
            "inspections_judgement",
            "inspections_limitsrevision",
            "inspections_meter",
            "inspections_metercomparison",
            "inspections_metereffect",
            "inspections_photo",
            "inspections_rejudgedverdict",
            "inspections_rejudging",
            "inspections_releasenotice",
            "inspections_trend",
            "inspections_trendchunk",
            "inspections_trendnews",
        ),
    ]
