"""A first `[locale]` section for a surveyed machine. Enters: a survey. Leaves: commented TOML."""

from __future__ import annotations

from bedplate.survey import Survey, SurveyedDisk


def draft(survey: Survey, disk: SurveyedDisk | None = None) -> str:
    """TOML text with the reason for each choice; a survey does not tell who will sit at the machine."""
    del survey
    return "\n".join(
        (
            "[locale]",
            '# The system\'s language, as the C library lists it: "de_DE.UTF-8", "pt_BR.UTF-8", ...',
            'language = "en_GB.UTF-8"',
            '# The keyboard in front of the machine: "de-latin1", "fr", "uk", ... Passwords are typed with it.',
            'keymap = "us"',
            "",
        )
    )
