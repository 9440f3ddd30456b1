from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("agreements", "0006_what_a_signature_rests_on")]

    operations = [
        migrations.AddField(
            model_name="agreement",
            name="seller_owes_until_proof",
            field=models.BooleanField(
                default=False, verbose_name="the seller owes until the transfer is proven"
            ),
        ),
        migrations.RemoveConstraint(model_name="requirement", name="requirement_kind_known"),
        migrations.AlterField(
            model_name="requirement",
            name="kind",
            field=models.CharField(
                choices=[
                    ("consent", "Landlord’s consent"),
                    ("insurance", "Insurance certificate"),
                    ("recording", "Recorder’s number"),
                    ("transfer", "Proof of the transfer"),
                    ("other", "Something else"),
                ],
                max_length=12,
                verbose_name="what is needed",
            ),
        ),
        migrations.AddConstraint(
            model_name="requirement",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("kind__in", ["consent", "insurance", "recording", "transfer", "other"])
                ),
                name="requirement_kind_known",
            ),
        ),
    ]
