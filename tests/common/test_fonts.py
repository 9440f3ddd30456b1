"""The letterforms are there, open, and hold the letters of both languages."""

import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from fontTools.ttLib import TTFont

from stewardship.common.fonts import FACES, FontFinder, face_path

ALL_FACES = [(package, face) for package, faces in FACES.items() for face in faces]


@pytest.mark.parametrize(("package", "face"), ALL_FACES)
def test_a_face_has_spanish_letters_lines_up_its_figures_and_is_open(package, face):
    font = TTFont(face_path(package, face))
    letters = font.getBestCmap()

    assert not [c for c in "áéíóúüñÁÉÍÓÚÜÑ¿¡«»°²³½—…" if ord(c) not in letters]
    assert len({font["hmtx"][letters[ord(c)]][0] for c in "0123456789"}) == 1
    assert "SIL Open Font License" in font["name"].getDebugName(13)


def test_the_stylesheet_names_exactly_the_faces_that_are_served():
    css = Path(finders.find("rillbook/css/ink.css")).read_text()

    assert set(re.findall(r"fonts/([\w-]+\.ttf)", css)) == {face for _, face in ALL_FACES}


def test_faces_are_found_as_static_files_and_nothing_else_of_the_packages():
    finder = FontFinder()

    assert finder.check() == []
    assert finder.find("fonts/SourceSerifPro-Regular.ttf").endswith(".ttf")
    assert finder.find("fonts/SourceSerifPro-Black.ttf") == []
    assert {name for name, _ in finder.list([])} == {face for _, face in ALL_FACES}
