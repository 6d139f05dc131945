"""What used to show after the disk had been written to, and shows before: source, keys, names, clock, power, medium."""

from __future__ import annotations

import os
import subprocess
import time
from email.utils import formatdate
from pathlib import Path

from accidents.staging import Place, actions, caught_by, checks, function, planned, rendered, spoiled, unseen, verb
from bedplate.rendering import audit, script
from rendering import Sandbox, graph, writing
from sources import key, make, served

DAYS = 86400
YEARS = 365 * DAYS


def _index(place: Place, url: str, keyring: Path, *, shell: str = "dash") -> tuple[int, str]:
    return place.run("base/apt-index", "tidal", str(keyring), stdin=f"deb {url} tidal main\n", shell=shell)


@caught_by(
    spoiled("base/apt-index", "EXPKEYSIG |", "GOODSIG |"),
    spoiled("base/apt-index", "GOODSIG) v_good=yes ;;", "*) v_good=yes ;;"),
    unseen("verb:apt-index"),
)
def test_c19_the_keys_of_the_medium_do_not_fit_or_are_old() -> None:
    # GnuPG, doc/DETAILS: the words of --status-fd
    place, good, other, old = Place(), key("good"), key("other"), key("old", "20200201T000000")
    source = make(place.path / "source", good, "tide-table")
    with served(source) as url:
        for file in ("key.gpg", "key.asc"):
            assert _index(place, url, good / file) == (0, "")
        code, said = _index(place, url, other / "key.gpg")
        assert code == 1 and "no key of the medium fits, it is signed with:" in said
        (source / "dists/tidal/InRelease").write_text(
            (source / "dists/tidal/InRelease").read_text().replace("Suite: tidal", "Suite: Tidal")
        )
        code, said = _index(place, url, good / "key.gpg")
        assert code == 1 and "was changed after it was signed" in said
    with served(make(place.path / "old", old, "tide-table", old=True)) as url:
        code, said = _index(place, url, old / "key.gpg")
        assert code == 1 and "the key has expired or was withdrawn" in said and "newer keys are needed" in said
    packages = actions(planned())["base.packages"]
    [signed] = checks(packages, "base/apt-index")
    assert signed.early and "Never switch signatures off" in signed.otherwise


@caught_by(verb("base/apt-index"), unseen("verb:apt-index"))
def test_z09_a_login_page_answers_in_place_of_the_source() -> None:
    place = Place()
    with served(None) as url:
        listed = f"deb {url} tidal main\n"
        assert place.run("base/apt-source-reachable", "any", "tidal", stdin=listed)[0] == 0, "it does answer"
        for shell in ("dash", "bash --posix", "busybox sh"):
            code, said = _index(place, url, key("good") / "key.gpg", shell=shell)
            assert code == 1 and "is no signed index" in said and "login page" in said
    assert [check.early for check in checks(actions(planned())["base.packages"], "base/apt-index")] == [True]


@caught_by(spoiled("base/apt-offers", '"$WORK/wanted" || return 0', "/dev/null || return 0"), unseen("verb:apt-offers"))
def test_z12_a_package_name_is_mistyped() -> None:
    # Debian Policy 4.6, 7.5: a name may be provided by another package
    place, signer = Place(), key("good")
    names = [*(f"openssh-{end}" for end in ("client", "server", "sftp-server")), "less", "rsync"]
    with served(make(place.path / "source", signer, *names)) as url:
        for shell in ("dash", "bash --posix", "busybox sh"):
            assert _index(place, url, signer / "key.gpg", shell=shell) == (0, "")
            assert place.run("base/apt-offers", "openssh-server", "less", "any-service", shell=shell)[0] == 0
            code, said = place.run("base/apt-offers", "openssh-servre", "less", "any-servise", shell=shell)
            assert code == 1 and "no package openssh-servre; nearest: openssh-server" in said
            assert "any-servise" in said and "no package less" not in said
    (place.path / "work/index").unlink()
    assert "no verified index" in place.says("base/apt-offers", "less")
    [named] = checks(actions(planned())["base.packages"], "base/apt-offers")
    assert named.early and "rsync" in named.test.args and "openssh-server" in named.test.args  # type: ignore[union-attr]


@caught_by(spoiled("base/apt-index", '[ "$v_stamp" -lt "$v_now" ] || continue', "continue"))
def test_the_clock_is_later_than_the_source_is_good_for() -> None:
    # apt-secure(8), Valid-Until
    place, signer = Place(), key("good")
    with served(make(place.path / "source", signer, "less", release=("ValidTime=60",))) as url:
        assert _index(place, url, signer / "key.gpg")[0] == 0
        ahead = {"date": f'case "$*" in +%s) echo {int(time.time()) + 10 * YEARS} ;; *) exec /bin/date "$@" ;; esac'}
        said = place.says(
            "base/apt-index", "tidal", str(signer / "key.gpg"), stdin=f"deb {url} tidal main\n", fakes=ahead
        )
        assert "Valid-Until" in said and "one of both is wrong" in said


def _clock(place: Place, ahead: int, source: int | None, synchronised: bool) -> tuple[int, str]:
    shown = int(time.time()) + ahead
    head = f"printf 'HTTP/1.1 200 OK\\r\\nDate: {formatdate(source, usegmt=True)}\\r\\n\\r\\n'" if source else "exit 7"
    fakes = {
        "date": f'case "$*" in *+%s) case "$*" in *-d*) exec /bin/date "$@" ;; esac; echo {shown} ;; '
        f'*) exec /bin/date -d @{shown} "$@" ;; esac',
        "curl": head,
        "timedatectl": f"echo {'yes' if synchronised else 'no'}",
    }
    for left in place.path.glob("work/clock-*"):
        left.unlink()
    return place.run("clock/clock-plausible", "https://mirror.example/x", fakes=fakes)


@caught_by(
    spoiled("clock/clock-plausible", "verb_clock_medium near", "true"),
    spoiled("clock/clock-plausible", "-gt 86400", "-gt 864000000"),
)
def test_z10_the_clock_is_years_ahead_and_calls_itself_right() -> None:
    # RFC 9110, 6.6.1: the date an answer was made
    place, now = Place(), int(time.time())
    for synchronised in (True, False):
        assert _clock(place, 0, now, synchronised)[0] == 0
        code, said = _clock(place, 10 * YEARS, now, synchronised)
        assert code == 1 and "3650 days away from that of https://mirror.example/" in said
        code, said = _clock(place, 10 * YEARS, None, synchronised)
        assert code == 1 and "more than two years after the live medium was made" in said
    for name in ("kelp-02", "tern-04"):
        [guard] = checks(actions(planned(name))["clock.live"], "clock/clock-plausible")
        assert guard.early


@caught_by(
    verb("clock/ext4-times"),
    spoiled("clock/clock-plausible", "verb_clock_medium near", "true"),
    function("clock.emit:_times"),
)
def test_d02_a_file_system_has_times_of_the_future() -> None:
    # Linux, filesystems/ext4, super block; mke2fs(8), E2FSPROGS_FAKE_TIME
    place = Place()
    for ahead, word in ((0, ""), (30 * DAYS, "is in the future")):
        disk = place.put(f"disk-{ahead}", b"\0" * (4 << 20))
        environment = {**os.environ, "E2FSPROGS_FAKE_TIME": str(int(time.time()) + ahead)}
        subprocess.run(["mkfs.ext4", "-q", disk], check=True, env=environment)
        for shell in ("dash", "busybox sh"):
            code, said = place.run("clock/ext4-times", str(disk), shell=shell)
            assert (code == 1) is bool(word) and word in said
    assert "cannot be read" in place.says("clock/ext4-times", str(place.path / "none"))
    code, said = _clock(place, 10 * YEARS, None, False)
    assert code == 1 and "date -u +%Y-%m-%d > /run/bedplate-clock" in said
    assert "verb_ext4_times /dev/disk/" in audit.render(planned())


@caught_by(spoiled("disk/power-lasts", "-ge 50", "-ge 0"), unseen("verb:power-lasts"))
def test_z13_the_battery_is_empty_before_the_work_is_done() -> None:
    # Linux, Documentation/ABI, sysfs-class-power
    place = Place()

    def supplies(**units: dict[str, str]) -> dict[str, str]:
        for name, files in units.items():
            for file, text in files.items():
                place.put(f"supply/{name}/{file}", text + "\n")
        return {"/sys/class/power_supply": str(place.path / "supply")}

    here = {"/sys/class/power_supply": str(place.path / "supply")}
    place.holds("disk/power-lasts", moved=here)
    battery = {"type": "Battery", "status": "Discharging", "capacity": "80"}
    place.holds("disk/power-lasts", moved=supplies(BAT0=battery, AC={"type": "Mains", "online": "0"}))
    supplies(mouse={"type": "Battery", "scope": "Device", "status": "Discharging", "capacity": "3"})
    place.holds("disk/power-lasts", moved=here)
    supplies(BAT0={**battery, "capacity": "20"})
    assert "runs on its battery, which is at 20 %" in place.says("disk/power-lasts", moved=here)
    (place.path / "supply/BAT0/capacity").unlink()
    assert "at unknown %" in place.says("disk/power-lasts", moved=here)
    supplies(AC={"type": "Mains", "online": "1"})
    place.holds("disk/power-lasts", moved=here)
    [guard] = checks(actions(planned())["disk.identify"], "disk/power-lasts")
    assert guard.early and "Connect mains power" in guard.otherwise
    assert "systemd-inhibit --what=sleep:idle:handle-lid-switch" in rendered(planned())


@caught_by(verb("disk/disk-is-writable"), unseen("verb:disk-is-writable"))
def test_z14_the_disk_is_write_protected() -> None:
    # blockdev(8), --setro
    place = Place()
    image = place.put("image", b"\0" * (1 << 20))
    device = subprocess.run(
        ["losetup", "--find", "--show", "--read-only", image], capture_output=True, text=True, check=True
    ).stdout.strip()
    try:
        place.disk = Path(device)
        assert "is write-protected (1)" in place.says("disk/disk-is-writable")
    finally:
        subprocess.run(["losetup", "--detach", device], check=True)
    place.disk = image
    place.holds("disk/disk-is-writable")
    [guard] = checks(actions(planned())["disk.identify"], "disk/disk-is-writable")
    assert guard.early


@caught_by(verb("base/userland-is"), unseen("verb:userland-is"))
def test_z15_the_medium_is_for_another_processor() -> None:
    # System V ABI, ELF header: e_machine 62 is x86-64, 183 is AArch64, 3 is the 32-bit one
    place = Place()
    here = os.uname().machine
    mine = {"x86_64": "amd64", "aarch64": "arm64"}[here]
    place.holds("base/userland-is", mine)
    other = {"amd64": "arm64", "arm64": "amd64"}[mine]
    assert f"the kernel of the medium is {here}" in place.says("base/userland-is", other)
    said = place.says("base/userland-is", mine, fakes={"od": "echo '     3'"})
    assert "its programs are of the kind 3" in said
    [guard] = checks(actions(planned())["base.look"], "base/userland-is")
    assert guard.early and guard.test.args == ("amd64",)  # type: ignore[union-attr]


def test_z16_the_script_was_cut_off_or_its_line_ends_were_changed() -> None:
    # POSIX.1-2017, XCU 2.9.4: a compound command is read whole; all lengths and shells: test_script_copies.py
    place = Place()
    sandbox = Sandbox(place.path / "sandbox")
    path = sandbox.place(script.render(graph(writing("demo.file", "/etc/demo", "demo\n"))))
    whole = path.read_bytes()
    for text in (whole[:-5], whole[: len(whole) // 2], whole.replace(b"\n", b"\r\n")):
        path.write_bytes(text)
        ran = subprocess.run(["dash", path], input="kelp-02\n", capture_output=True, text=True, check=False)
        assert ran.returncode != 0 and ran.stdout == "" and os.listdir(sandbox.target) == []
    cut = script.render(graph()).replace("{ # All of it is one command", "# All of it").removesuffix("exit\n}\n")
    path.write_text(cut)
    ran = subprocess.run(["dash", path, "--list"], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, "without the braces the end of a file is the end of the script"


@caught_by(spoiled("_audit", "        for_a_person\n", ""))
def test_g04_the_job_is_called_done_while_a_person_has_still_to_look() -> None:
    text = audit.render(planned())
    body = text.split("for_a_person() {")[1].split("\n}")[0]
    assert "Switch it off, wait until it is dark" in body and "Start the other system again" in body
    place = Place()
    path = place.put("audit.sh", audit.render(graph()).replace("NEEDED_UID=0", f"NEEDED_UID={os.getuid()}"))
    ran = subprocess.run(["dash", path], capture_output=True, text=True, check=False)
    assert ran.returncode == 0 and "all proofs hold" not in ran.stdout.lower()
    assert "These remain for a person" in ran.stdout and "  - Switch it off" in ran.stdout


@caught_by(unseen("verb:boot-entry-stands"))
def test_b06_the_firmware_puts_the_other_system_first_at_every_start() -> None:
    # efibootmgr(8), -o
    [stands] = checks(actions(planned())["bootloader.boot-entry"], "bootloader/boot-entry-stands")
    started = actions(planned())["bootloader.first-boot"].audits[0]
    for check in (stands, started):
        assert "efibootmgr -o" in check.otherwise and "Never rename" in check.otherwise
