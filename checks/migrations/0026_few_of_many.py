"""Indexes of the few checks that the icing status asks for among all of them."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("checks", "0025_expected_values")]

    operations = [
        migrations.AddIndex(
            model_name="checkevent",
            index=models.Index(
                condition=models.Q(("outcome", "not valid")), fields=["aircraft"], name="event_not_valid"
            ),
        ),
        migrations.AddIndex(
            model_name="checkevent",
            index=models.Index(
                condition=models.Q(("state", "draft")), fields=["aircraft"], name="event_draft"
            ),
        ),
        migrations.AddIndex(
            model_name="checkevent",
            index=models.Index(
                condition=models.Q(("supersedes__isnull", False)),
                fields=["supersedes"],
                name="event_corrected",
            ),
        ),
    ]
