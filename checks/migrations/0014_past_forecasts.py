import django.db.models.deletion
from django.db import migrations, models

STATES = [
    ("over limit", "over limit"),
    ("closing", "closing"),
    ("drifting", "drifting"),
    ("steady", "steady"),
    ("too few readings", "too few readings"),
]


class Migration(migrations.Migration):
    dependencies = [
        ("checks", "0013_programme_roles"),
        ("fleet", "0006_modifications"),
    ]

    operations = [
        migrations.CreateModel(
            name="ForecastCard",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("made_at", models.DateTimeField()),
                ("model_version", models.CharField(max_length=24)),
                ("grades", models.JSONField()),
            ],
            options={"ordering": ["-made_at", "-pk"], "get_latest_by": "made_at"},
        ),
        migrations.CreateModel(
            name="PastForecast",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("after", models.UUIDField()),
                ("came", models.UUIDField()),
                (
                    "life",
                    models.PositiveSmallIntegerField(help_text="Which life of the series, from 0."),
                ),
                ("made_on", models.DateField(help_text="What was on record when this day began.")),
                ("read_on", models.DateField()),
                ("came_on", models.DateField()),
                ("readings_in_life", models.PositiveSmallIntegerField()),
                ("state", models.CharField(choices=STATES, max_length=16)),
                (
                    "p_cross",
                    models.FloatField(
                        help_text="Chance to be over the limit on the day of what came.", null=True
                    ),
                ),
                ("crossing_on", models.DateField(null=True)),
                ("low", models.FloatField(help_text="9 of 10 readings of that day should lie from here")),
                ("high", models.FloatField(help_text="to here.")),
                ("value", models.FloatField(help_text="What came.")),
                ("was_over", models.BooleanField()),
                ("over", models.BooleanField()),
                (
                    "crossed_on",
                    models.DateField(
                        help_text="Where a straight line between the two readings meets the limit.",
                        null=True,
                    ),
                ),
                ("model_version", models.CharField(max_length=24)),
                (
                    "aircraft",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="fleet.aircraft",
                    ),
                ),
                (
                    "point",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="fleet.measuringpoint",
                    ),
                ),
            ],
            options={
                "ordering": ["-came_on", "aircraft", "point"],
                "indexes": [models.Index(fields=["-came_on"], name="past_forecast_newest")],
                "constraints": [
                    models.UniqueConstraint(fields=("aircraft", "point", "after"), name="past_forecast_once")
                ],
            },
        ),
    ]
