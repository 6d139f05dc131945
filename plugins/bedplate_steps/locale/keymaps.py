"""Console keymaps and the X keyboard layouts that mean the same. Enters: a keymap's name. Leaves: a `Keyboard`.

The two are different sets of names (localectl(1)). Source: the table kbd-model-map of systemd 252, which says of each
console keymap which layout, model, variant and options fit; the first row of a keymap counts.
"""

from __future__ import annotations

from functools import cache

from attrs import frozen

from bedplate_steps.locale.model import Locale

_ROWS = """
be-latin1 be pc105 - terminate:ctrl_alt_bksp
bg_bds-utf8 bg,us pc105 - terminate:ctrl_alt_bksp,grp:shifts_toggle,grp_led:scroll
bg_pho-utf8 bg,us pc105 ,phonetic terminate:ctrl_alt_bksp,grp:shifts_toggle,grp_led:scroll
br-abnt2 br abnt2 - terminate:ctrl_alt_bksp
by by,us pc105 - terminate:ctrl_alt_bksp,grp:shifts_toggle,grp_led:scroll
cf ca pc105 - terminate:ctrl_alt_bksp
croat hr pc105 - terminate:ctrl_alt_bksp
cz-lat2 cz pc105 qwerty terminate:ctrl_alt_bksp
cz-qwerty cz,us pc105 qwerty, terminate:ctrl_alt_bksp,grp:shifts_toggle,grp_led:scroll
cz-us-qwertz cz,us pc105 - terminate:ctrl_alt_bksp,grp:shifts_toggle,grp_led:scroll
de de pc105 - terminate:ctrl_alt_bksp
de-latin1 de pc105 - terminate:ctrl_alt_bksp
de-latin1-nodeadkeys de pc105 nodeadkeys terminate:ctrl_alt_bksp
dk dk pc105 - terminate:ctrl_alt_bksp
dk-latin1 dk pc105 - terminate:ctrl_alt_bksp
dvorak us pc105 dvorak terminate:ctrl_alt_bksp
es es pc105 - terminate:ctrl_alt_bksp
es-dvorak es microsoftpro dvorak terminate:ctrl_alt_bksp
et ee pc105 - terminate:ctrl_alt_bksp
fi fi pc105 - terminate:ctrl_alt_bksp
fr fr pc105 - terminate:ctrl_alt_bksp
fr-latin1 fr pc105 - terminate:ctrl_alt_bksp
fr-latin9 fr pc105 latin9 terminate:ctrl_alt_bksp
fr-pc fr pc105 - terminate:ctrl_alt_bksp
fr_CH ch pc105 fr terminate:ctrl_alt_bksp
fr_CH-latin1 ch pc105 fr terminate:ctrl_alt_bksp
ge ge,us pc105 - terminate:ctrl_alt_bksp
gr gr,us pc105 - terminate:ctrl_alt_bksp,grp:shifts_toggle,grp_led:scroll
hu hu pc105 - terminate:ctrl_alt_bksp
hu101 hu pc105 qwerty terminate:ctrl_alt_bksp
ie ie pc105 - terminate:ctrl_alt_bksp
il il pc105 - terminate:ctrl_alt_bksp
is-latin1 is pc105 - terminate:ctrl_alt_bksp
it it pc105 - terminate:ctrl_alt_bksp
it-ibm it pc105 - terminate:ctrl_alt_bksp
it2 it pc105 - terminate:ctrl_alt_bksp
jp106 jp jp106 - terminate:ctrl_alt_bksp
kazakh kz,us pc105 - terminate:ctrl_alt_bksp,grp:shifts_toggle,grp_led:scroll
khmer kh,us pc105 - terminate:ctrl_alt_bksp
ko kr pc105 - terminate:ctrl_alt_bksp
la-latin1 latam pc105 - terminate:ctrl_alt_bksp
lt lt pc105 - terminate:ctrl_alt_bksp
lt.baltic lt pc105 - terminate:ctrl_alt_bksp
lt.l4 lt pc105 - terminate:ctrl_alt_bksp
lv lv pc105 apostrophe terminate:ctrl_alt_bksp
lv-tilde lv pc105 tilde terminate:ctrl_alt_bksp
mk-utf mk,us pc105 - terminate:ctrl_alt_bksp,grp:shifts_toggle,grp_led:scroll
nl nl pc105 - terminate:ctrl_alt_bksp
no no pc105 - terminate:ctrl_alt_bksp
pl2 pl pc105 - terminate:ctrl_alt_bksp
pt-latin1 pt pc105 - terminate:ctrl_alt_bksp
ro ro pc105 - terminate:ctrl_alt_bksp
ro-cedilla ro pc105 cedilla terminate:ctrl_alt_bksp
ro-std ro pc105 std terminate:ctrl_alt_bksp
ro-std-cedilla ro pc105 std_cedilla terminate:ctrl_alt_bksp
ru ru,us pc105 - terminate:ctrl_alt_bksp,grp:shifts_toggle,grp_led:scroll
sg ch pc105 de_nodeadkeys terminate:ctrl_alt_bksp
sg-latin1 ch pc105 de_nodeadkeys terminate:ctrl_alt_bksp
sk-qwerty sk pc105 - terminate:ctrl_alt_bksp,qwerty
sk-qwertz sk pc105 - terminate:ctrl_alt_bksp
slovene si pc105 - terminate:ctrl_alt_bksp
sr-cy rs pc105 - terminate:ctrl_alt_bksp
sr-latin rs pc105 latin terminate:ctrl_alt_bksp
sv-latin1 se pc105 - terminate:ctrl_alt_bksp
tj_alt-UTF8 tj pc105 - terminate:ctrl_alt_bksp
trq tr pc105 - terminate:ctrl_alt_bksp
ua-utf ua,us pc105 - terminate:ctrl_alt_bksp,grp:shifts_toggle,grp_led:scroll
uk gb pc105 - terminate:ctrl_alt_bksp
us us pc105+inet - terminate:ctrl_alt_bksp
us-acentos us pc105 intl terminate:ctrl_alt_bksp
"""


@frozen(kw_only=True)
class Keyboard:
    """A keyboard in the words of xkeyboard-config(7)."""

    layout: str
    model: str = "pc105"
    variant: str = ""
    options: str = ""


@cache
def keyboards() -> dict[str, Keyboard]:
    """Every known console keymap."""
    found: dict[str, Keyboard] = {}
    for row in _ROWS.split("\n"):
        if row:
            name, *words = row.split()
            layout, model, variant, options = ("" if word == "-" else word for word in words)
            found[name] = Keyboard(layout=layout, model=model, variant=variant, options=options)
    return found


def keyboard(locale: Locale) -> Keyboard:
    """The layout of a section: what it says itself, else what belongs to its keymap."""
    if locale.xkb_layout:
        return Keyboard(
            layout=locale.xkb_layout,
            model=locale.xkb_model or "pc105",
            variant=locale.xkb_variant,
            options=locale.xkb_options,
        )
    return keyboards().get(locale.keymap, Keyboard(layout="us"))
