"""A survey as TOML. Enters: a `Survey`. Leaves: text that reads back as the same survey.

What is not known (None, an empty text, an empty list) is left out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomli_w
from attrs import asdict

from bedplate.faults import visible
from bedplate.survey import Survey

HEAD = "# Survey made by Bedplate: what this machine is. Make a new one rather than edit it.\n\n"
"""The comment a survey begins with."""


def to_toml(survey: Survey) -> str:
    """`survey` as TOML. The same survey gives the same text."""
    return HEAD + visible(tomli_w.dumps(_known(asdict(survey))), keep="\n")  # type: ignore[arg-type]


def _known(values: Mapping[str, Any]) -> dict[str, Any]:
    return {key: _plain(value) for key, value in values.items() if value not in (None, "", (), [])}


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return _known(value)
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value
