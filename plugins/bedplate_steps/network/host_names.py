"""Rules for host and domain names. Enters: text. Leaves: a sentence that says what is wrong, or nothing.

RFC 952 and RFC 1123 section 2.1 (letters, digits, hyphens; no hyphen at either end; 63 characters in a label, 253 in
a whole name), hostname(5) (lower case), hosts(5) (a letter first: here a warning, since RFC 1123 allows a digit).
"""

from __future__ import annotations

import re

LABEL = "1 to 63 lower-case letters, digits and hyphens, no hyphen at either end"
MAX_LABEL = 63
MAX_NAME = 253

_LABEL = re.compile(r"[a-z0-9](?:[a-z0-9-]*[a-z0-9])?")


def label_trouble(text: str) -> str:
    """What is wrong with one label; empty if nothing is."""
    if not text:
        return "a name has at least one character"
    if len(text) > MAX_LABEL:
        return f"a label has at most {MAX_LABEL} characters, this one has {len(text)}"
    if text.startswith("-") or text.endswith("-"):
        return "a label neither begins nor ends with a hyphen"
    if _LABEL.fullmatch(text) is None:
        return "a label has only lower-case letters a to z, digits and hyphens"
    return ""


def name_trouble(text: str) -> str:
    """What is wrong with a dotted name of one or more labels; empty if nothing is."""
    if len(text) > MAX_NAME:
        return f"a whole name has at most {MAX_NAME} characters, this one has {len(text)}"
    return next((trouble for label in text.split(".") if (trouble := label_trouble(label))), "")


def repaired_label(text: str) -> str | None:
    """The nearest valid label: lower case, other characters as hyphens. None if nothing useful is left."""
    text = re.sub(r"[^a-z0-9-]+", "-", text.strip().lower())[:MAX_LABEL].strip("-")
    return text or None


def repaired_name(text: str) -> str | None:
    """The nearest valid dotted name, or None."""
    labels = [repaired_label(label) for label in text.split(".") if label.strip()]
    name = ".".join(label for label in labels if label)
    return name if name and not name_trouble(name) else None
