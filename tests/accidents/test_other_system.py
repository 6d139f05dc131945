"""Accidents with the other system: recovery keys, half shut down volumes, shrinking, recovery partitions."""

from __future__ import annotations

import re

from accidents.staging import (
    MACHINES,
    Edits,
    Place,
    actions,
    caught_by,
    faults,
    function,
    planned,
    rendered,
    spoiled,
    told,
    unseen,
    verb,
)

BASIC = "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7"
"""Basic data, as `sfdisk --label gpt -T` lists it."""
PART = "AAAAAAAA-2222-4333-8444-555555555555"
KEY = 'recovery_key_place = "sealed envelope in the station safe, marked kelp-02"\n'
NTFS = 'type = "ntfs"\nlabel = "System"'


@caught_by(
    function("disk.validate_combinations:_other_system_faults"),
    unseen("action:disk.note-recovery-key"),
    unseen("action:bootloader.protect-again"),
)
def test_a01_nobody_has_the_recovery_key() -> None:
    nowhere = faults(spec=((KEY, ""),))["recovery-key-place"]
    assert "say where the recovery key is kept (the place, never the key)" in nowhere
    assert 'such as "safe in the office"' in nowhere
    denied = faults(
        spec=(('encryption = "unknown"', 'encryption = "none"'),),
        survey=((NTFS, 'type = "BitLocker"\nlabel = "System"'),),
    )
    assert "the survey found factory-system encrypted" in denied["encryption-contradicts"]
    order = list(actions(planned()))
    for before in ("disk.note-recovery-key", "disk.suspend-encryption"):
        assert order.index(before) < order.index("bootloader.firmware-settings")
    # protected again before the two starts, which show that the key is not asked for
    assert order.index("bootloader.first-boot") < order.index("bootloader.protect-again")
    assert order.index("bootloader.protect-again") < order.index("bootloader.first-boot-other")


@caught_by(function("disk.validate_combinations:_other_system_faults"))
def test_a02_started_another_way_each_time() -> None:
    said = faults(spec=(('start_by = "firmware-menu"', 'start_by = "chain-load"'),))["encrypted-chain-load"]
    assert "started in two ways asks for its recovery key again and again" in said
    assert 'allowed: "firmware-menu"' in said
    graph = planned()
    assert "chainloader" not in rendered(graph)
    twice = actions(graph)["bootloader.first-boot-other"]
    assert "twice the same way" in twice.title


FORCED = re.compile(r"remove_hiberfile|ntfsfix|-o force|mount.*force|ntfs-3g (?!probe)")


@caught_by(
    verb("disk/ntfs-is-clean"),
    unseen("action:disk.identify"),
    spoiled("disk/ntfs-is-clean", "return 1", 'ntfsfix -d "$v_node"'),
)
def test_a03_only_half_shut_down() -> None:
    place = Place()
    for status, words in ((14, "hibernated, or was shut down with fast start on"), (15, "not unmounted cleanly")):
        said = place.says(
            "disk/ntfs-is-clean", "/dev/x", fakes={"ntfs-3g.probe": f"return {status}", "ntfsfix": "return 1"}
        )
        assert words in said
    place.holds("disk/ntfs-is-clean", "/dev/x", fakes={"ntfs-3g.probe": "return 0"})
    guards = [check for check in actions(planned())["disk.identify"].guards if "shut down fully" in check.says]
    assert len(guards) == 1 and guards[0].early
    assert "Never force it from here" in guards[0].otherwise
    for name in MACHINES:
        graph = planned(name)
        assert not FORCED.search(rendered(graph)) and not FORCED.search(told(graph))


SHARED = (
    'role = "system"\nshrink_to = "364228MiB"        # 120 GiB less, by hand, in the factory system itself',
    'role = "data"\nshrink_to = "364228MiB"\nmount = "/data"',
)


def _fstab(spec: Edits) -> str:
    operation = actions(planned(spec=spec))["disk.fstab"].operations[0]
    return "".join(map(str, operation.content))  # type: ignore[union-attr]


@caught_by(function("disk.facts:_kept_options", lambda keep: keep.options))
def test_a04_an_unclean_shared_volume_stops_the_start() -> None:
    # fstab(5): pass 0 is never checked; systemd.mount(5): nofail, x-systemd.device-timeout=
    [line] = [line for line in _fstab(spec=(SHARED,)).splitlines() if " /data " in line]
    assert "nofail,x-systemd.device-timeout=10s" in line and line.endswith(" 0 0")


@caught_by(function("disk.validate_survey:_too_small"))
def test_a05_a_survey_taken_after_the_shrink_plans_no_second_one() -> None:
    # 364228 MiB is what the spec leaves: 745938944 sectors of 512 bytes
    told = faults(survey=(("size = 997597184", "size = 745938944"),))["shrink-done"]
    assert "no more than it is to be shrunk to" in told and "no shrink_to" in told


@caught_by(verb("disk/ntfs-fits"))
def test_a06_only_the_partition_was_made_smaller() -> None:
    place = Place()
    place.table(f"3 : start=2048, size=20480, type={BASIC}, uuid={PART}\n")
    # NTFS boot sector: bytes per sector at 11, sectors of the volume at 40 (one less than its partition had)
    sector = bytearray(512)
    sector[11:13], sector[40:48] = (512).to_bytes(2, "little"), (40959).to_bytes(8, "little")
    place.put("disk3", bytes(sector))
    said = place.says("disk/ntfs-fits", PART)
    assert "the volume has 40959 sectors of 512 bytes, its partition 20480 of 512" in said
    sector[40:48] = (20479).to_bytes(8, "little")
    place.put("disk3", bytes(sector))
    place.holds("disk/ntfs-fits", PART)
    script = rendered(planned())
    assert not re.search(r"^[^#\n]*(ntfsresize|resizepart|sfdisk[^|\n]* -N )", script, re.MULTILINE)


RECOVERY = (
    '[[disk.keep]]\nname = "factory-recovery"\npartition = "7B978C71-125C-5D15-A24C-3203019C4ED3"\nrole = "recovery"\n'
)


@caught_by(function("disk.validate_survey:_unlisted"), unseen("action:disk.note-recovery"))
def test_a07_the_recovery_partition_was_deleted_or_renumbered() -> None:
    said = faults(spec=((RECOVERY, ""),))["partition-not-listed"]
    assert "partition 4 of the survey" in said and "every partition found is kept" in said
    assert 'allowed: a [[disk.keep]] with partition = "7B978C71' in said
    graph = planned()
    numbers = re.findall(r"^(New|Kept): partition (\d+)", told(graph), re.MULTILINE)
    kept, new = ([int(number) for word, number in numbers if word == which] for which in ("Kept", "New"))
    assert len(kept) == 4 and min(new) > max(kept)
    for action in ("disk.note-recovery", "bootloader.first-boot-other"):
        assert "reagentc /info" in str(actions(graph)[action].operations)


@caught_by(unseen("action:disk.shut-down"))
def test_a09_a_driver_in_the_other_system() -> None:
    # only a caution: what is installed there cannot be seen from outside
    action = actions(planned())["disk.shut-down"]
    assert "No driver that reads Linux file systems may be installed there" in action.cautions[0]


@caught_by(
    function("disk.validate_survey:_table_faults"),
    function("disk.validate_layers:_row_faults"),
    verb("disk/table-is-whole"),
)
def test_a10_an_old_table_or_a_dynamic_disk() -> None:
    old = faults(survey=(('label = "gpt"', 'label = "dos"'),))["table-not-gpt"]
    assert "of the kind dos, which a UEFI start beside it cannot use" in old
    ldm = "AF9B60A0-1431-4F62-BC68-3311714A69AD"
    spread = faults(survey=((f'type = "{BASIC}"', f'type = "{ldm}"'),))["dynamic-disk"]
    assert "a part of dynamic disks: volumes that spread over partitions are left alone" in spread
    # a hybrid first sector: a second record beside the protective one (UEFI specification 5.2.3)
    place = Place()
    place.table(f"start=2048, size=20480, type={BASIC}, uuid={PART}\n")
    place.holds("disk/table-is-whole", str(64 << 20), "512")
    image = bytearray(place.disk.read_bytes())
    image[462 + 4] = 0x07
    place.disk.write_bytes(image)
    assert "not a plain protective MBR" in place.says("disk/table-is-whole", str(64 << 20), "512")
