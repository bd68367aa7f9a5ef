from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("checks", "0017_mel_roles")]

    operations = [
        migrations.AddField("forecastcard", "alarms", models.JSONField(default=list)),
    ]
