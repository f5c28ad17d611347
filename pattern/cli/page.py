"""`contact-pattern app`: open the page."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from app.passphrase import Lock

PASSPHRASE_VARIABLE = "CONTACT_PATTERN_PASSPHRASE"


@click.command()
@click.option(
    "--port",
    default=8417,
    show_default=True,
    type=click.IntRange(1, 65535),
    help="Where the page listens.",
)
@click.option(
    "--archive",
    default=None,
    metavar="PLACE",
    help="Folder or database of the jobs; default: CONTACT_PATTERN_ARCHIVE, then your data folder.",
)
@click.option(
    "--lan",
    is_flag=True,
    help="Answer phones in the shop's network too, behind a passphrase; prints address and QR code.",
)
@click.option(
    "--host",
    "hosts",
    multiple=True,
    metavar="NAME",
    help="A further name under which this machine is reached (with --lan).",
)
@click.option("--new-passphrase", is_flag=True, help="Ask for a new passphrase first.")
@click.option("--no-browser", is_flag=True, help="Do not open a browser on this machine.")
def app(
    port: int,
    archive: str | None,
    lan: bool,
    hosts: tuple[str, ...],
    new_passphrase: bool,
    no_browser: bool,
) -> None:
    """Open the page: the whole job, from photos to the report, on the bench or on a phone.

    It listens on this machine only unless --lan is given, and fetches nothing from outside, ever.
    """
    from app import server

    lock = _passphrase_lock(new_passphrase) if lan or new_passphrase else None
    where = server.door(port, lan=lan, more_hosts=hosts)
    click.echo(where.url)
    if lan:
        click.echo("Point the phone's camera here:", err=True)
        server.print_qr(where.url, sys.stderr)
        click.echo(
            "Photos and passphrase travel unencrypted: only in a network that you trust.", err=True
        )
    click.echo("Stop the page with Ctrl+C.", err=True)
    if not no_browser:
        server.open_when_ready(f"http://127.0.0.1:{port}", port)
    server.serve(where, archive=archive, lock=lock if lan else None)


def _passphrase_lock(new: bool) -> Lock:
    from platformdirs import user_config_path

    from app.passphrase import make_lock, read_lock, write_lock
    from pattern.errors import InvalidSettings

    given = os.environ.get(PASSPHRASE_VARIABLE)
    if given is not None:
        return make_lock(given)
    file = Path(user_config_path("gear-contact-pattern", appauthor=False)) / "shop-network.json"
    lock = None if new else read_lock(file)
    if lock is None:
        if not sys.stdin.isatty():
            raise InvalidSettings(
                "none is set and nobody can be asked here",
                subject="passphrase",
                remedy=f"Start it once in a terminal, or set {PASSPHRASE_VARIABLE}",
            )
        lock = make_lock(
            click.prompt(
                "A passphrase for the shop's network", hide_input=True, confirmation_prompt=True
            )
        )
        write_lock(file, lock)
    return lock
