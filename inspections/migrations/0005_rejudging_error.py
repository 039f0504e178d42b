"""A set judged anew that failed says why."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("inspections", "0004_night_at_scale")]

    operations = [
        migrations.AddField(
            model_name="rejudging",
            name="error",
            field=models.TextField(blank=True, default=""),
        ),
    ]
