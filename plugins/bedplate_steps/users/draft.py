"""A first `[users]` section, with its reasons as comments."""

from __future__ import annotations

from bedplate.survey import Survey, SurveyedDisk


def draft(survey: Survey, disk: SurveyedDisk | None = None) -> str:
    """Commented TOML: root locked, one administrator whose password is asked for."""
    return """\
[users]
# ssh_server = true

[users.root]
# Locked: administrators act under their own names. A failed start then opens a root shell at the console
# (open-shell), or none at all (live-medium). A root password ("ask") asks for it instead.
password = "locked"
rescue = "live-medium"

[[users.people]]
# 1 to 31 lower-case letters, digits and hyphens, a letter first.
name = "keeper"
# Asked for during the installation. A crypt(5) hash or "file:/PATH" of a file on the live medium do as well.
password = "ask"
administrator = true
"""
