from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('lots', '0011_brine_temperature'),
    ]

    operations = [
        migrations.AddField(
            model_name='load',
            name='filtered',
            field=models.BooleanField(null=True),
        ),
    ]
