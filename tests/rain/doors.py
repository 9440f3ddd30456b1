"""The two doors through which a file comes in: the command and the page. Both must say the same things."""

from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from stewardship.rain.models import Gauge

#: door(content, gauge, **options) → the sentence of a refusal, or "" when the file was taken in
Door = Callable[..., str]


def command_door(
    content: bytes, gauge: Gauge, *, file_name: str = "readings.csv", **options: str
) -> str:
    with TemporaryDirectory() as folder:
        path = Path(folder) / file_name
        path.write_bytes(content)
        try:
            with open(Path(folder) / "said", "w") as said:
                call_command("import_readings", str(path), gauge=gauge.code, stdout=said, **options)
        except CommandError as error:
            assert error.returncode == 1
            return str(error)
    return ""


def page_door(browser: Client) -> Door:
    """Upload, look, say what one knows, look again, take in."""

    def door(
        content: bytes, gauge: Gauge, *, file_name: str = "readings.csv", **options: str
    ) -> str:
        upload = SimpleUploadedFile(file_name, content, content_type="text/csv")
        response = browser.post(reverse("rain:import"), {"gauge": gauge.pk, "file": upload})
        if response.status_code == 200:
            errors = response.context["form"].errors
            assert list(errors) == ["file"]
            return "\n".join(str(error) for error in errors["file"])
        page = browser.get(response.url)
        if options:
            form = page.context["form"]
            shown = {name: form[name].value() or "" for name in form.fields}
            answer = browser.post(
                reverse("rain:file_look", args=[page.context["file"].pk]), shown | options
            )
            page = browser.get(answer.url)
            for name, value in options.items():  # nothing that was typed is lost
                assert page.context["form"][name].value() == value
        assert page.status_code == 200
        if page.context["refusal"]:
            return page.context["refusal"]
        file = page.context["file"]
        browser.post(
            reverse("rain:file_take", args=[file.pk]), {"seen": file.looked_at.isoformat()}
        )
        file.refresh_from_db()
        return file.refusal

    return door
