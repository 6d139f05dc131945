"""The published schemas: made from the classes that describe spec and survey, and no older than those.

Rewritten with BEDPLATE_REWRITE=1.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

import bedplate_schema
from bedplate import schema
from bedplate.loading import registry
from bedplate.serialize import as_text
from bedplate.spec import Frame
from bedplate.survey import Survey

MODELS = {"frame": Frame, "survey": Survey} | {
    section: own.step.model for section, own in registry.load().steps.items() if own.origin.built_in
}


@pytest.mark.parametrize("name", MODELS)
def test_a_published_schema_is_what_its_class_says(name: str) -> None:
    file = Path(bedplate_schema.__file__).parent / f"{name}.json"
    text = as_text(schema.document(name, schema.json_schema(MODELS[name])))
    if os.environ.get("BEDPLATE_REWRITE") == "1":
        file.write_text(text, encoding="utf-8")
    assert text == file.read_text(encoding="utf-8"), f"to renew it: BEDPLATE_REWRITE=1 pytest {Path(__file__).name}"


def test_every_published_schema_is_made_or_of_an_output() -> None:
    published = {path.stem for path in Path(bedplate_schema.__file__).parent.glob("*.json")}
    assert published - MODELS.keys() == {"graph", "diff"}
