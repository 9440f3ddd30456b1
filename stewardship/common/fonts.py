"""Letterforms from their PyPI packages, served as static files under fonts/.

Only the faces that `rillbook/css/type.css` names are collected; the packages hold some forty more.
"""

from collections.abc import Iterable, Iterator
from importlib.util import find_spec
from pathlib import Path

from django.contrib.staticfiles import utils
from django.contrib.staticfiles.finders import BaseFinder
from django.core.checks import CheckMessage, Error
from django.core.files.storage import FileSystemStorage

# package on PyPI (module name) → the faces we use of it
FACES = {
    "font_source_serif_pro": (
        "SourceSerifPro-Regular.ttf",
        "SourceSerifPro-It.ttf",
        "SourceSerifPro-Semibold.ttf",
    ),
    "font_source_sans_pro": (
        "SourceSansPro-Regular.ttf",
        "SourceSansPro-It.ttf",
        "SourceSansPro-Semibold.ttf",
    ),
}
PREFIX = "fonts"


def face_path(package: str, face: str) -> Path | None:
    """Where `package` keeps the font file `face`, or None when it is not installed."""
    spec = find_spec(package)
    if spec is None or spec.origin is None:
        return None
    path = Path(spec.origin).parent / "files" / face
    return path if path.is_file() else None


class FontFinder(BaseFinder):
    """Finds `fonts/<face>` in the font packages."""

    def __init__(self, app_names: list[str] | None = None, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.paths = {
            face: path
            for package, faces in FACES.items()
            for face in faces
            if (path := face_path(package, face))
        }

    def check(self, **kwargs) -> list[CheckMessage]:
        return [
            Error(
                f"The font {face} is missing: install {package.replace('_', '-')} from requirements.txt.",
                id="rillbook.E001",
            )
            for package, faces in FACES.items()
            for face in faces
            if face not in self.paths
        ]

    def find(  # type: ignore[override]  # the stubs split it in two by find_all
        self, path: str, find_all: bool = False, **kwargs
    ) -> str | list[str]:
        folder, _, face = path.partition("/")
        if folder != PREFIX or face not in self.paths:
            return []
        found = str(self.paths[face])
        return [found] if find_all else found

    def list(
        self, ignore_patterns: Iterable[str] | None
    ) -> Iterator[tuple[str, FileSystemStorage]]:
        for face, path in self.paths.items():
            if utils.matches_patterns(face, ignore_patterns or []):
                continue
            storage = FileSystemStorage(location=path.parent)
            storage.prefix = PREFIX  # type: ignore[attr-defined]  # how collectstatic is told the folder
            yield face, storage
