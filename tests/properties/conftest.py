"""What tests of properties share."""

import pytest


@pytest.fixture(scope="module")
def no_typeface():
    """Pages for screens without their typeface: cutting it takes longer than all the rest, and
    these tests look for figures."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("loambrief.render.html.font_faces", lambda characters: "")
        yield
