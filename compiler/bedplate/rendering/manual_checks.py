"""What a person types to see whether a check holds. Enters: tests of `bedplate.actions`. Leaves: lines for a shell.

Each line prints something only on evidence that the check holds: a command that is missing, fails, or prints nothing
says nothing. A line that begins with `# ` is a sentence: what a person looks at where no command can tell.
"""

from __future__ import annotations

import hashlib
import re
import shlex
from collections.abc import Callable, Iterator, Mapping, Sequence

from bedplate.actions import TARGET, Call, Outputs, Succeeds, Test, Where
from bedplate.rendering.manual_commands import lines
from bedplate.rendering.quoting import by_hand, quote, typed
from bedplate.rendering.shell_helpers import on_disk, short

_ENABLED = "enabled|enabled-runtime|static|alias|indirect|generated"
"""States of a unit that the verb `service-enabled` takes; an extended regular expression (POSIX.1-2017, 9.4)."""
_DISABLED = "disabled|masked|masked-runtime|linked|static|indirect|not-found"
_TRUSTED = "# Compare it with a clock you trust, in UTC:"


def asking(test: Test, running: bool = False, disk: bool = True) -> list[str]:
    """Lines that each print something only if the test holds; empty: only the script can tell. `running`: typed on the
    installed machine itself. `disk`: whoever types it has given the disk a name, `$DISK`."""
    late = _LATE.get(test.verb) if isinstance(test, Call) and not disk and not test.by_hand else None
    found = list(late(_args(test))) if late and isinstance(test, Call) else _asking(test)
    found = [on_disk(line) for line in found] if disk else found
    return [_at_root(line) for line in found] if running else found


def _at_root(line: str) -> str:
    outside = line.replace(f"chroot {TARGET} ", "").replace(f"{TARGET}/", "/")
    return re.sub(rf"{TARGET}\b", "/", outside)


def _asking(test: Test) -> list[str]:
    match test:
        case Succeeds():
            return [_succeeding(test)]
        case Outputs():
            return [_only(_inside(test.where) + by_hand(test.argv, test.where), test.text.rstrip("\n"))]
        case Call() if test.by_hand:
            return lines(test.by_hand)
        case Call():
            return list(_VERBS[test.verb](_args(test), test)) if test.verb in _VERBS else []


def _args(test: Call) -> list[str]:
    """Its words; a path is ready to be typed."""
    return [word if isinstance(word, str) and not word.startswith("/") else by_hand((word,)) for word in test.args]


def _succeeding(test: Succeeds) -> str:
    """By its output where it has one: an exit status alone tells no look from a command that does nothing."""
    command = _inside(test.where) + by_hand(test.argv, test.where)
    match test.argv:
        case ("systemctl", "is-active", "--quiet", *_):
            return _only(command.replace(" --quiet", ""), "active")
        case ("getent", *_) | (*_, "--version"):
            return f"{command} | grep ."
        case ("test", "-s", _):
            return f"ls -s {by_hand(test.argv[2:], test.where)} | grep '^ *[1-9]'"
    return f"{command} > /dev/null && echo yes"


def _only(command: str, line: str) -> str:
    """The command's output, if it is that line."""
    return f"{command} | grep -Fx -e {typed(line)}"


def _inside(where: Where) -> str:
    return f"chroot {TARGET} " if where is Where.TARGET else ""


# --- by verb -------------------------------------------------------------------------------------------------------


def _node(where: str) -> str:
    return where if where.startswith("/") else f"/dev/disk/by-partuuid/{where.lower()}"


def _regex(text: str) -> str:
    """Literal text in a regular expression, basic or extended."""
    return re.sub(r"([\\.*^$\[\]])", r"\\\1", text)


Words = Sequence[str]


def _file_is(args: Words, test: Call) -> Iterator[str]:
    path = by_hand((test.args[0],))
    parts = test.stdin or ()
    if any(not isinstance(part, str) for part in parts):
        yield "# It has to hold what was typed, with the disk's name in it:"
        yield f"cat {path}"
    else:
        total = hashlib.sha256("".join(str(part) for part in parts).encode()).hexdigest()
        yield _only(f"sha256sum < {path}", f"{total}  -")
    yield _only(f"stat -c %a {path}", args[1])


def _filesystem_is(args: Words, _test: Call) -> Iterator[str]:
    where, kind, uuid, label = args
    named = f" | grep -F ' LABEL=\"{label}\"'" if re.fullmatch(r"[A-Za-z0-9_.-]+", label) else ""
    yield f"blkid -p {_node(where)} | grep -iF ' UUID=\"{uuid}\"' | grep ' TYPE=\"{kind}\"'{named}"


def _is_mounted_late(args: Words) -> Iterator[str]:
    column = "SOURCE" if args[0].startswith("/") else "PARTUUID"
    yield f"findmnt -nvo {column} --mountpoint {args[1]} | grep -ix {args[0]}"


def _swap_is_on_late(args: Words) -> Iterator[str]:
    if args[0].startswith("/"):
        yield f'grep "^$(readlink -f {args[0]}) " /proc/swaps'
    else:
        yield f"lsblk -nro PARTUUID,MOUNTPOINT | grep -i '^{args[0]} .SWAP.$'"


_LATE: Mapping[str, Callable[[Words], Iterator[str]]] = {
    "is-mounted": _is_mounted_late,
    "disk/swap-is-on": _swap_is_on_late,
}
"""Looks on the running machine, where nobody has given the disk a name."""


def _is_mounted(args: Words, _test: Call) -> Iterator[str]:
    point = args[1].rstrip("/") or "/"
    yield f"on {point} {_node(args[0])}"
    if len(args) > 2 and args[2]:
        yield _only(f"findmnt -nro FSROOT --mountpoint {point}", f"/{args[2]}")


def _user_is(args: Words, _test: Call) -> Iterator[str]:
    name, uid, home, shell, groups, full = args
    row = "^" + ":".join((name, "[^:]*", uid, uid, _regex(full) + "[^:]*", _regex(home), _regex(shell))) + "$"
    yield f"chroot {TARGET} getent passwd {name} | grep {quote(row)}"
    if groups:
        yield f"chroot {TARGET} id -nG {name}" + "".join(f" | grep -w {one}" for one in groups.split(","))


def _password_is(args: Words, _test: Call) -> Iterator[str]:
    """The name alone is shown, never what stands behind it."""
    field = "\\$" if args[1] == "set" else "[!*]"
    yield f"grep '^{args[0]}:{field}' {TARGET}/etc/shadow | cut -d: -f 1"


def _entry(partition: str, loader: str) -> str:
    return f"efibootmgr -v | grep '^Boot....\\*' | grep -i {partition} | grep -iF -e {quote(loader)}"


def _entry_is(args: Words, _test: Call) -> Iterator[str]:
    entry = _entry(args[1], args[2])
    yield f"{entry} | grep -c . | grep -x 1" if args[0] == "one" else entry


def _numbered(partition: str, loader: str, line: str) -> str:
    return f"n=$({_entry(partition, loader)} | cut -c 5-8); [ ${{#n}} = 4 ] && efibootmgr | grep {line}"


def _is_gone(args: Words, _test: Call) -> Iterator[str]:
    folder, _, name = shlex.split(args[0])[0].rstrip("/").rpartition("/")
    yield f"none {quote(f'^{_regex(name)}$')} ls -a {typed(folder or '/')}"


def _source_offers(args: Words, test: Call) -> Iterator[str]:
    if any(str(part).strip() for part in test.stdin or ()):
        yield f"# `Components:` of the source's Release has to name {args[1]}: open it, as in the look below."
    else:
        yield f"grep -rhw {args[1]} /etc/apt/sources.list /etc/apt/sources.list.d"


def _link_runs(args: Words, _test: Call) -> Iterator[str]:
    if args[1] == "optional":
        yield "# Without a cable there is nothing to see; else the link stands as UP, with an address:"
    for address in args[2:]:
        yield f"ip -o address show scope global | grep -F ' {address} '"
    if not args[2:]:
        yield "ip -br address show scope global | grep -w UP"


def _kept(args: Words, _test: Call) -> Iterator[str]:
    program = (
        '/start=/{sub(/.*: start/,"")} NR==FNR{a[$0]=1;next} /^=/{m++; if($0 in a)n++} END{if(m&&n==m)print "yes"}'
    )
    yield f"sfdisk --dump \"$DISK\" | awk '{program}' - {args[0]}"


def _unit_complete(args: Words, _test: Call) -> Iterator[str]:
    root = args[0].rstrip("/")
    folders = " ".join(f"{root}/{one}/systemd" for one in ("etc", "usr/lib", "lib"))
    yield f"find {folders} -name {quote(re.sub('@[^.]*', '@', args[1]))} 2> /dev/null"


_NOT_MADE = "# If this machine carries the plan already, its row must still be there, with a GUID that begins with"


def _words(*lines: str) -> Callable[[Words, Call], Iterator[str]]:
    """Lines with `{0}` and so on in place of the verb's words."""
    return lambda args, _test: (line.format(*args, target=TARGET) for line in lines)


_VERBS: Mapping[str, Callable[[Words, Call], Iterator[str]]] = {
    "file-is": _file_is,
    "bootloader/text-is": lambda args, test: iter(list(_file_is((args[0], ""), test))[:-1]),
    "bootloader/same-file": _words("sha256sum {0} {1} | cut -d ' ' -f 1 | uniq -c | grep '^ *2 '"),
    "bootloader/entries-start": _words(
        "# Each entry names a kernel and an initramfs that are there, and these parameters: {2}",
        "cat {0}/loader/entries/*.conf; ls {0}/*",
    ),
    "base/host-keys-there": _words(
        "# Where there is no SSH server, there are none; else their names are shown:",
        "ls {target}/etc/ssh/ssh_host_*_key.pub",
    ),
    "clock/ext4-times": _words("# `dumpe2fs -h` on each new ext4 shows no time that lies ahead of `date`."),
    "disk/power-lasts": _words(
        "# A laptop hangs on its mains adapter: each adapter says 1.", "grep . /sys/class/power_supply/*/online"
    ),
    "disk/row-was-not-made": lambda args, test: iter((f"{_NOT_MADE} {short(args[0])}:", 'sfdisk --list "$DISK"')),
    "bootloader/made-after": _words("find {0} -newer {1}"),
    "users/group-gone": _words("none '^{0}:' cat {target}/etc/group"),
    "users/user-gone": _words("none '^{0}:' cat {target}/etc/passwd"),
    "users/user-outside": _words("none '(^| ){1}( |$)' chroot {target} id -nG {0}"),
    "users/group-is": _words("chroot {target} getent group {0} | grep ':{1}'"),
    "network/vlan-runs": _words(
        "# Where the card has no cable there is nothing to see; else the link is UP, with its address:",
        "ip -br address show dev {0}",
    ),
    "disk/partition-is": lambda args, test: iter((f"row {short(args[0])} {args[1]} {args[2]}",)),
    "disk/room-is-free": _words("room {0} {1}"),
    "disk/filesystem-fills": _words(
        "# The file system is as large as its partition, but for a few MiB:",
        "df -BM {2}",
        'lsblk -no SIZE,MOUNTPOINT "$DISK"',
    ),
    "disk/point-is-free": _words("# There is no such folder, or an empty one:", "ls -la {0}"),
    "base/unit-runs": _words(
        "systemctl show -p ActiveState -p Result {0} | grep -c -x -e ActiveState=active -e Result=success | grep -x 2"
    ),
    "stamp-is": _words("grep -x {1} {target}/var/lib/bedplate/stamps/{0}"),
    "base/apt-sources-name": _words("grep -rhw {0} {target}/etc/apt/sources.list {target}/etc/apt/sources.list.d"),
    "base/pacman-mirror-named": _words("grep '^Server' {target}/etc/pacman.d/mirrorlist"),
    "mode-is": lambda args, test: iter((_only(f"stat -c '%a %u:%g' {args[0]}", f"{args[1]} {args[2]}"),)),
    "link-is": lambda args, test: iter((_only(f"readlink {args[0]}", str(test.args[1])),)),
    "has-line": lambda args, test: iter((f"grep -Fx -e {typed(str(test.args[1]))} {args[0]}",)),
    "block-is": _words("# The block named {1} has to be the one that was typed:", "cat {0}"),
    "service-enabled": _words(f"systemctl --root={{0}} is-enabled {{1}} | grep -Ex -e '{_ENABLED}'"),
    "service-disabled": _words(
        f"systemctl --root={{0}} is-enabled {{1}} 2>&1 | grep -Ex -e '{_DISABLED}|Failed to get unit file state .*'"
    ),
    "is-gone": _is_gone,
    "disk/is-there": _words("ls -s {0} | grep '^ *[1-9]'"),
    "tool-present": _words("command -v {0}"),
    "disk/filesystem-is": _filesystem_is,
    "is-mounted": _is_mounted,
    "disk/container-is-open": _words("cryptsetup status {1} | grep 'is active'"),
    "disk/subvolumes-are": _words("# btrfs has said `Create subvolume` for each of them."),
    "disk/swap-is-on": lambda args, test: iter((f'grep "^$(readlink -f {_node(args[0])}) " /proc/swaps',)),
    "disk/swap-file-is": lambda args, test: iter(
        (
            _only(f"stat -c '%s %a %u' {args[0]}", f"{int(args[1]) * 1048576} 600 0"),
            _only(f"blkid -p -o value -s UUID {args[0]}", args[2]),
        )
    ),
    "disk/swap-file-is-on": _words("grep '^{0} ' /proc/swaps"),
    "disk/table-is": _words("sfdisk --dump \"$DISK\" | grep -ix 'label-id: {0}'"),
    "disk/table-is-kept": _kept,
    "base/base-whole": _words("none '^\\.base-unfinished$' ls -A {target}", "every . ls -d {target}/etc {target}/var"),
    "base/machine-id-own": _words(
        "grep -xE '[0-9a-f]{{32}}' {target}/etc/machine-id | "
        "awk 'NR==FNR{{a[$0]=1;next}} ($0 in a)==0' /etc/machine-id -"
    ),
    "base/api-mounted": _words(
        "for one in proc sys dev run; do findmnt -no TARGET --mountpoint {target}/$one; done | grep -c . | grep -x 4"
    ),
    "base/api-unmounted": _words("none ' {target}/(proc|sys|dev|run) ' cat /proc/mounts"),
    "disk/target-is-closed": _words("none ' {target}[/ ]' cat /proc/mounts"),
    "clock/zone-is-there": _words("head -c 4 {0} | grep TZif"),
    "clock/hardware-clock-is": _words(
        "# The right time, and the clock that {0} stands for:", "hwclock --show --{0}; date"
    ),
    "base/console-is-cached": _words("ls -s {target}/etc/console-setup/cached_*.kmap.gz | grep '^ *[1-9]'"),
    "users/login-shell": _words("grep -Fx -e {0} {target}/etc/shells", "ls -l {target}{0} | grep '^[-l]..x'"),
    "users/user-is": _user_is,
    "users/password-is": _password_is,
    "users/sudo-allows": _words(
        "every 'parsed OK$' chroot {target} visudo -c", "chroot {target} sudo -n -l -U {0} | grep -F '(ALL : ALL) ALL'"
    ),
    "bootloader/initramfs-is-built": _words("every '^[0-9][0-9][0-9][0-9][0-9][0-9][0-9]' stat -c '%s %n' {0}/init*"),
    "bootloader/initramfs-carries": _words(
        "# It shows at the first start: without the drivers, no root and no keyboard."
    ),
    "bootloader/loader-is": _words("od -An -tx1 -N 2 {0} | grep '4d 5a'"),
    "bootloader/loader-is-current": _words("# It shows at the first start: the firmware refuses a revoked loader."),
    "bootloader/menu-starts": _words(
        "# Each `linux` line names a kernel that is there, and the new root by its UUID:",
        "grep -rhE '^[[:blank:]]*(linux|initrd|options)' {0}",
    ),
    "bootloader/boot-entry-is": _entry_is,
    "bootloader/boot-entry-stands": lambda args, test: iter(
        (_numbered(args[1], args[2], '"^BootOrder: $n"' if args[0] == "first" else '"^BootOrder: .*$n\\$"'),)
    ),
    "bootloader/started-by": lambda args, test: iter((_numbered(args[0], args[1], '"^BootCurrent: $n"'),)),
    "bootloader/units-are-well": _words("systemctl is-system-running --wait | grep -x running"),
    "network/online": _words("ip route show default | grep default", "grep '^nameserver' /etc/resolv.conf"),
    "network/link-runs": _link_runs,
    "network/firmware-of-link": _words(
        "# At the first start `dmesg | grep -i firmware` names no file that is missing."
    ),
    "network/unit-complete": _unit_complete,
    "clock/clock-live": _words(_TRUSTED, "date -u"),
    "clock/clock-plausible": _words(_TRUSTED, "date -u"),
    "locale/live-keymap-is": _words(
        "# Type the letters and signs of your passwords as a test: each shows as on its key."
    ),
    "base/apt-source-offers": _source_offers,
    "base/pacman-keyring": _words("ls -s /etc/pacman.d/gnupg/pubring.* | grep '^ *[1-9]'"),
    **{
        verb: _words("# The package tool says so before it changes anything: it names what it cannot find, and stops.")
        for verb in ("base/apt-offers", "base/pacman-offers", "base/dnf-offers", "base/apt-index")
    },
    "base/pacman-source-reachable": _words("# The package tool says so before it changes anything."),
    "base/dnf-source-reachable": _words("# The package tool says so before it changes anything."),
}
