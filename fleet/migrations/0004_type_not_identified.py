"""A unit whose plate cannot be read: a type that is not identified, and a rating that holds no figure."""

import django.db.models.deletion
from django.db import migrations, models

from accounts.guards import guard


class Migration(migrations.Migration):
    dependencies = [
        ("fleet", "0003_walls"),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name="ratingrevision",
            name="rating_reference_voltage_has_its_basis",
        ),
        migrations.RemoveConstraint(
            model_name="ratingrevision",
            name="rating_tolerance_positive",
        ),
        migrations.RemoveConstraint(
            model_name="ratingrevision",
            name="rating_wiring_positive",
        ),
        migrations.AddField(
            model_name="retarder",
            name="found_as",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="fleet.retardertype",
            ),
        ),
        migrations.AddField(
            model_name="retardertype",
            name="air_gap_mm",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="retardertype",
            name="coils_counted",
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="retardertype",
            name="identified",
            field=models.BooleanField(default=True),
        ),
        migrations.AddField(
            model_name="retardertype",
            name="leads_counted",
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="retardertype",
            name="note",
            field=models.TextField(blank=True),
        ),
        migrations.AlterField(
            model_name="ratingrevision",
            name="coils_in_parallel",
            field=models.PositiveSmallIntegerField(null=True),
        ),
        migrations.AlterField(
            model_name="ratingrevision",
            name="coils_in_series",
            field=models.PositiveSmallIntegerField(null=True),
        ),
        migrations.AlterField(
            model_name="ratingrevision",
            name="reference_voltage_basis",
            field=models.CharField(
                choices=[
                    ("stated", "stated"),
                    ("assumed_running", "assumed, running"),
                    ("unknown", "unknown"),
                    ("not_identified", "type not identified"),
                ],
                max_length=20,
            ),
        ),
        migrations.AddConstraint(
            model_name="ratingrevision",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("reference_voltage_basis__in", ["unknown", "not_identified"]),
                        ("reference_voltage_v__isnull", True),
                    ),
                    models.Q(
                        ("reference_voltage_basis", "stated"),
                        ("reference_voltage_v__gt", 0),
                        ("reference_voltage_v__isnull", False),
                    ),
                    models.Q(
                        ("reference_voltage_basis", "assumed_running"),
                        ("reference_voltage_v__in", [14.0, 28.0]),
                        ("reference_voltage_v__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="rating_reference_voltage_has_its_basis",
            ),
        ),
        migrations.AddConstraint(
            model_name="ratingrevision",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        models.Q(
                            ("tolerance_lower_percent__isnull", True),
                            ("tolerance_lower_percent__gt", 0),
                            _connector="OR",
                        ),
                        models.Q(
                            ("tolerance_upper_percent__isnull", True),
                            ("tolerance_upper_percent__gt", 0),
                            _connector="OR",
                        ),
                        models.Q(
                            ("tolerance_lower_percent__isnull", False),
                            ("tolerance_upper_percent__isnull", False),
                            _connector="OR",
                        ),
                        models.Q(("reference_voltage_basis", "not_identified"), _negated=True),
                    ),
                    models.Q(
                        ("reference_voltage_basis", "not_identified"),
                        ("tolerance_lower_percent__isnull", True),
                        ("tolerance_upper_percent__isnull", True),
                    ),
                    _connector="OR",
                ),
                name="rating_tolerance_positive",
            ),
        ),
        migrations.AddConstraint(
            model_name="ratingrevision",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("coils_in_parallel__gte", 1),
                        ("coils_in_parallel__isnull", False),
                        ("coils_in_series__gte", 1),
                        ("coils_in_series__isnull", False),
                        models.Q(("reference_voltage_basis", "not_identified"), _negated=True),
                    ),
                    models.Q(
                        ("reference_voltage_basis", "not_identified"),
                        ("coils_in_parallel__isnull", True),
                        ("coils_in_series__isnull", True),
                    ),
                    _connector="OR",
                ),
                name="rating_wiring_positive",
            ),
        ),
        migrations.AddConstraint(
            model_name="ratingrevision",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("reference_voltage_basis", "not_identified"), ("rated_currents_a__0", None)),
                    models.Q(
                        models.Q(("reference_voltage_basis", "not_identified"), _negated=True),
                        models.Q(("rated_currents_a__0", None), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="rating_without_amps_if_not_identified",
            ),
        ),
        migrations.AddConstraint(
            model_name="retardertype",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("coils_counted__isnull", True), ("coils_counted__gte", 1), _connector="OR"),
                    models.Q(("leads_counted__isnull", True), ("leads_counted__gte", 1), _connector="OR"),
                    models.Q(("air_gap_mm__isnull", True), ("air_gap_mm__gt", 0), _connector="OR"),
                ),
                name="retarder_type_counted_positive",
            ),
        ),
        # SQLite rebuilds the table and loses its triggers on the way.
        guard("fleet_ratingrevision"),
    ]
