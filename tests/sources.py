"""A small signed package source of the apt family, made with the family's own tools, and a server that shows it.

apt-ftparchive(1), gpg(1); what a source holds: Debian repository format (wiki.debian.org/DebianRepository/Format).
"""

from __future__ import annotations

import functools
import http.server
import subprocess
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

PORTAL = b"<html><body>Welcome to the harbour. Please log in.</body></html>"


def command(*words: str | Path, cwd: Path | None = None) -> str:
    """What the command printed."""
    return subprocess.run([*map(str, words)], cwd=cwd, capture_output=True, text=True, check=True).stdout


def gpg(home: Path, *words: str | Path) -> None:
    """Run gpg(1) with this home, and end the agent that it starts."""
    command("gpg", "--homedir", home, "--batch", *words)
    end_agent(home)


def end_agent(home: Path) -> None:
    """An agent outlives the commands that started it (gpg-agent(1))."""
    command("gpgconf", "--homedir", home, "--kill", "gpg-agent")


@functools.cache
def key(name: str, expires: str = "never") -> Path:
    """A gpg home with one signing key; its public half in key.gpg and key.asc."""
    home = Path(tempfile.mkdtemp(prefix="key-"))
    born = ("--faked-system-time", "20200101T000000!") if expires != "never" else ()
    gpg(
        home,
        *born,
        "--passphrase",
        "",
        "--quick-gen-key",
        f"{name} <{name}@saltmarsh.example>",
        "rsa2048",
        "sign",
        expires,
    )
    gpg(home, "--output", home / "key.gpg", "--export")
    gpg(home, "--armor", "--output", home / "key.asc", "--export")
    return home


def make(source: Path, signer: Path, *names: str, old: bool = False, release: tuple[str, ...] = ()) -> Path:
    """A source with the release `tidal`, the component main and these packages. `old`: signed when the key was good."""
    lists = source / "dists/tidal/main/binary-amd64"
    lists.mkdir(parents=True)
    text = "".join(
        f"Package: {name}\nVersion: 1\nArchitecture: amd64\nProvides: {name}-service (= 1), any-service\n\n"
        for name in names
    )
    (lists / "Packages").write_text(text)
    command("xz", "-k", lists / "Packages")
    options = [
        word
        for one in ("Codename=tidal", "Suite=tidal", "Components=main", *release)
        for word in ("-o", f"APT::FTPArchive::Release::{one}")
    ]
    whole = command("apt-ftparchive", *options, "release", "dists/tidal", cwd=source)
    (source / "dists/tidal/Release").write_text(whole)
    then = ("--faked-system-time", "20200101T120000!") if old else ()
    gpg(signer, *then, "--clearsign", "--output", source / "dists/tidal/InRelease", source / "dists/tidal/Release")
    return source


@contextmanager
def served(folder: Path | None) -> Iterator[str]:
    """The address of a server that shows the folder; of None, one that answers everything with a login page."""

    class Shows(http.server.SimpleHTTPRequestHandler):
        def __init__(self, *arguments: object) -> None:
            super().__init__(*arguments, directory=str(folder or "/nowhere"))  # type: ignore[arg-type]

        def do_GET(self) -> None:
            if folder is not None:
                super().do_GET()
                return
            self.send_response(200)
            self.end_headers()
            self.wfile.write(PORTAL)

        def log_message(self, *arguments: object) -> None:
            pass

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Shows) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        try:
            yield f"http://127.0.0.1:{server.server_address[1]}"
        finally:
            server.shutdown()
