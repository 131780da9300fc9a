"""Which signing key made a card's address, so that a change of the key is told."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('cards', '0001_cards'),
    ]

    operations = [
        migrations.AddField(
            model_name='card',
            name='key_mark',
            field=models.CharField(default='', max_length=16),
        ),
    ]
