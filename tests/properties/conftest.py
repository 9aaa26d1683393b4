"""What tests of properties share."""

import pytest


@pytest.fixture(scope="module")
def plain_pages():
    """Pages for screens without their typeface, reports without charts of readings, which no plan
    changes: these take longer than all the rest, and the tests look for figures of the plan."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("loambrief.render.html.font_faces", lambda characters: "")
        for charts in ("TOPICS", "SAMPLES"):
            patch.setattr(f"loambrief.report.pictures.{charts}", {})
        yield
