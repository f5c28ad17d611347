"""What strangers try: the written threat model in `tests/hard/THREATS.md`, each row with a test here, in
`tests/app/test_gate.py`, `tests/browser/test_strangers.py` or the archive's own tests.
"""

from __future__ import annotations

import ast
import http.client
import json
import re
import socket
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from PIL import Image

from pattern.cli.output import shown
from tests.browser.conftest import Server, running
from tests.hard.cases import drive, drive_photo
from tests.hard.running import run

ROOT = Path(__file__).parents[2]
SOURCES = [*ROOT.glob("pattern/**/*.py"), *ROOT.glob("app/**/*.py")]
PASSPHRASE = "paint roll read shim"


# --- the code itself ---------------------------------------------------------------------------------


def _calls(source: Path) -> Iterator[tuple[str, ast.Call]]:
    for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            yield ast.unparse(node.func), node


FORBIDDEN_CALLS = re.compile(
    r"(^|\.)(eval|exec|compile_command|system|popen|spawnl|__import__)$|^(pickle|marshal|shelve|yaml)\."
)


def test_nothing_is_unpickled_evaluated_or_given_to_a_shell() -> None:
    found = []
    for source in SOURCES:
        for name, call in _calls(source):
            shell = any(word.arg == "shell" for word in call.keywords)
            pickles = any(word.arg == "allow_pickle" for word in call.keywords)
            is_network = name.split(".")[-1] == "eval" and not call.args  # PyTorch: leave training
            if (FORBIDDEN_CALLS.search(name) and not is_network) or shell or pickles:
                found.append(f"{source.relative_to(ROOT)}:{call.lineno} {name}")
    assert found == []


def test_no_module_imports_pickle_or_runs_programs() -> None:
    for source in SOURCES:
        for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            bad = {n.split(".")[0] for n in names} & {"pickle", "marshal", "shelve", "subprocess"}
            assert not bad, f"{source.relative_to(ROOT)} imports {bad}"


def test_weights_are_loaded_by_a_format_that_holds_no_code() -> None:
    weights = [p for p in (ROOT / "pattern").rglob("weights/*") if p.suffix not in (".py", ".pyc")]
    assert {p.suffix for p in weights if p.is_file()} == {".onnx"}


# --- names and texts on the command line -----------------------------------------------------------------


def test_a_name_cannot_steer_the_terminal_or_the_table(tmp_path: Path) -> None:
    for name in ("\x1b[31mred\x07.png", "[bold]b.png", "[link=file:x]c.png"):
        (tmp_path / name).write_bytes(drive_photo())
    done = run("read", tmp_path, "--side", "drive", "--outline", "frame")
    assert "\x1b" not in done.stdout + done.stderr
    assert "\x07" not in done.stdout + done.stderr
    for name in ("[bold]b.png", "[link=file:x]c.png", "\\x1b[31mred\\x07.png"):
        assert name in done.stdout.replace("\n", "")


def test_a_job_cannot_steer_the_terminal(tmp_path: Path) -> None:
    evil = "\x1b]0;owned\x07\x1b[2J customer"
    run(
        "job", "new", "--archive", tmp_path / "a", "--customer", evil, "--notes", evil, "--tag", "x"
    )
    for words in (("job", "list"), ("job", "show", "J0001"), ("job", "history", "J0001")):
        done = run(*words, "--archive", tmp_path / "a")
        assert done.code == 0
        assert "customer" in done.stdout
        assert "\x1b" not in done.stdout
        assert "\x07" not in done.stdout


def test_what_is_shown_keeps_letters_of_every_script_and_lines() -> None:
    assert shown("Größe 尺寸\nnext") == "Größe 尺寸\nnext"
    assert shown("a\x1b[1mb\x9b\u202e") == "a\\x1b[1mb\\x9b\\u202e"


def test_the_overlay_stays_in_its_folder_whatever_the_photo_is_called(tmp_path: Path) -> None:
    (tmp_path / "..%2f..%2fx.png").write_bytes(drive_photo())
    (tmp_path / "...png").write_bytes(drive_photo())
    out = tmp_path / "out" / "in"
    for name in ("..%2f..%2fx.png", "...png"):
        run("read", tmp_path / name, "--side", "drive", "--outline", "frame", "--overlay", out)
    made = set(tmp_path.rglob("*_reading.png"))
    assert len(made) == 2
    assert all(p.parent == out for p in made)


def test_script_in_exif_goes_nowhere(tmp_path: Path) -> None:
    exif = Image.Exif()
    script = "<script>alert(1)</script>"
    for tag in (0x010E, 0x010F, 0x0110, 0x013B, 0x8298):  # description, make, model, artist, rights
        exif[tag] = script
    photo = tmp_path / "p.jpg"
    Image.fromarray(drive().photo.pixels).save(photo, quality=95, exif=exif)
    (tmp_path / "o.json").write_text(json.dumps(drive().outlines[:1]))
    words = ("--drive", photo, "--drive-outline", tmp_path / "o.json", "--backlash", "0.008")
    run("job", "new", "--archive", tmp_path / "a", "--customer", script)
    filed = run("job", "add-roll", "J0001", "--archive", tmp_path / "a", *words, "--note", script)
    assert filed.code == 0, filed
    assert "script" not in filed.stdout
    page = tmp_path / "r.html"
    assert run("job", "report", "J0001", "--archive", tmp_path / "a", "--out", page).code == 0
    told = page.read_text(encoding="utf-8")
    assert "<script" not in told
    assert "&lt;script&gt;" in told, "the customer's name is there, as text"


# --- the server, by raw requests ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with running(tmp_path_factory.mktemp("alone")) as started:
        yield started


@pytest.fixture(scope="module")
def lan(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    place = tmp_path_factory.mktemp("lan")
    with running(place, "--lan", CONTACT_PATTERN_PASSPHRASE=PASSPHRASE) as started:
        yield started


def _raw(server: Server, text: str) -> tuple[int, bytes]:
    """Status and whole answer to a request sent as it stands."""
    at = urlsplit(server.url)
    with socket.create_connection((at.hostname or "", at.port or 0), timeout=20) as wire:
        wire.sendall(text.replace("\n", "\r\n").encode())
        answer = b""
        while part := wire.recv(65536):
            answer += part
    return int(answer.split(b" ", 2)[1]), answer


SECRET = "jobs.sqlite"


@pytest.mark.parametrize(
    "path",
    [
        "/../../../../etc/passwd", "/%2e%2e/%2e%2e/%2e%2e/etc/passwd", "//etc/passwd",
        "/static/../../../../etc/passwd", "/static/..%2f..%2f..%2fetc%2fpasswd", "/media/../jobs.sqlite",
        "/_stcore/bidi-components/contact_pattern_outline_editor/..%2f..%2fgate.py",
        "/_stcore/component/x/../../../../../etc/passwd", "/app/static/..%5c..%5cgate.py",
    ],
)  # fmt: skip
def test_no_path_leads_out_of_the_page(server: Server, path: str) -> None:
    _, answer = _raw(server, f"GET {path} HTTP/1.1\nHost: 127.0.0.1\nConnection: close\n\n")
    assert b"root:" not in answer
    assert b"class Gate" not in answer
    assert b"SQLite format" not in answer


@pytest.mark.parametrize(
    "head",
    [
        "Host: shims.example\n",
        "Host: shims.example\nX-Forwarded-Host: 127.0.0.1\n",
        "Host: 127.0.0.1\nHost: shims.example\n",
        "Host: shims.example\nHost: 127.0.0.1\n",
        "",
    ],
)
def test_a_foreign_or_doubled_host_gets_nothing_from_the_page(server: Server, head: str) -> None:
    status, answer = _raw(server, f"GET / HTTP/1.1\n{head}Connection: close\n\n")
    assert status in (400, 421)
    assert b"<html" not in answer


@pytest.mark.parametrize("how", ["PUT", "DELETE", "POST"])
def test_a_foreign_page_cannot_send_anything(server: Server, how: str) -> None:
    status, _ = _raw(
        server,
        f"{how} /_stcore/upload_file/a/b HTTP/1.1\nHost: 127.0.0.1\nOrigin: http://shims.example\n"
        "Content-Length: 2\nConnection: close\n\nxx",
    )
    assert status == 403


def _memory_mb(pid: int) -> float:
    found = re.search(r"VmRSS:\s+(\d+)", Path(f"/proc/{pid}/status").read_text())
    return int(found[1]) / 1024 if found else 0.0


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks into /proc")
def test_a_flood_of_bytes_is_not_kept(server: Server, lan: Server) -> None:
    for place, path in ((server, "/_stcore/upload_file/a/b"), (lan, "/enter")):
        before, at = _memory_mb(place.process.pid), urlsplit(place.url)
        wire = http.client.HTTPConnection(at.hostname or "", at.port, timeout=20)
        wire.putrequest("PUT" if "upload" in path else "POST", path)
        wire.putheader("Content-Length", str(300_000_000))
        wire.endheaders()
        try:
            for _ in range(100):
                wire.send(bytes(1_000_000))
        except OSError:
            pass  # hung up on, as it should be
        wire.close()
        assert _memory_mb(place.process.pid) - before < 60


def test_without_the_passphrase_nothing_of_the_shop_is_told(lan: Server) -> None:
    for path in ("/", "/media/x.jpg", "/_stcore/health", "/_stcore/host-config", "/roll?job=J0001"):
        status, answer = _raw(lan, f"GET {path} HTTP/1.1\nHost: 127.0.0.1\nConnection: close\n\n")
        assert status == 401
        assert len(answer.partition(b"\r\n\r\n")[2]) < 200


def test_the_shop_network_door_needs_a_passphrase_before_it_opens(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.delenv("CONTACT_PATTERN_PASSPHRASE", raising=False)
    done = run("app", "--lan", "--no-browser", "--port", "1")
    assert done.code == 5
    assert "none is set and nobody can be asked here" in done.stderr
