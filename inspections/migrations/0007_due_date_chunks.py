"""The due dates of a night are shared among workers, as its trends are."""

import django.db.models.deletion
from django.db import migrations, models

from accounts.walls import wall


class Migration(migrations.Migration):
    dependencies = [("inspections", "0006_claims_counted"), ("accounts", "0003_walls")]

    operations = [
        migrations.CreateModel(
            name="DueDateChunk",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("first_unit", models.BigIntegerField()),
                ("last_unit", models.BigIntegerField()),
                ("units", models.PositiveIntegerField()),
                ("planned_at", models.DateTimeField()),
                ("claimed_at", models.DateTimeField(null=True)),
                ("claims", models.PositiveIntegerField(db_default=0, default=0)),
                ("finished_at", models.DateTimeField(null=True)),
                ("error", models.TextField(blank=True, default="")),
                ("as_of", models.DateTimeField()),
                ("changed", models.PositiveIntegerField(default=0)),
                (
                    "organisation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="accounts.organisation"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("organisation", "first_unit"), name="due_date_chunk_once")
                ],
            },
        ),
        wall("inspections_duedatechunk"),
    ]
