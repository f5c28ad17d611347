"""The command line. Each command lives in a module of its own and is imported when it is called."""

from __future__ import annotations

import os
import sys

import click

from pattern import __version__
from pattern.errors import PatternError

# command -> (module, attribute, one line of help); kept here so that --help imports nothing heavy
COMMANDS = {
    "read": ("pattern.cli.read", "read", "Read the contact pattern in photos of one tooth side."),
    "check": ("pattern.cli.check", "check", "Compare readings with photos whose answer is known."),
    "advise": (
        "pattern.cli.advise",
        "advise",
        "Advise the next correction from an axle and its rolls.",
    ),
    "predict": (
        "pattern.cli.predict",
        "predict",
        "Compute and draw the marks that given moves leave.",
    ),
    "demo": ("pattern.cli.demo", "demo", "The main job on a bundled pair of photos."),
    "setup": (
        "pattern.cli.setup",
        "setup",
        "Tooth counts, starting shim, backlash, torque, shim stacks.",
    ),
    "job": ("pattern.cli.job", "job", "File and find jobs, rolls and photos."),
    "archive": ("pattern.cli.archive", "archive", "Verify and back up the archive."),
    "app": ("pattern.cli.page", "app", "Open the page in a browser."),
}


class _LazyGroup(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        from importlib import import_module

        module, attribute, _ = COMMANDS[cmd_name]
        command: click.Command = getattr(import_module(module), attribute)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, row[2]) for name, row in COMMANDS.items()])


@click.command(cls=_LazyGroup)
@click.version_option(__version__, prog_name="contact-pattern")
def commands() -> None:
    """Photograph painted ring gear teeth, read the contact pattern, get the next shim correction.

    Exit codes: 0 good, 1 output not written, 2 usage, 3 unreadable photo, 4 declined, 5 invalid
    axle or settings, 6 no correction within limits, 7 archive damaged or newer, 8 would overwrite,
    130 interrupted.
    """


def main() -> None:
    """Run the command line; known errors become one clean line on stderr and their own exit code."""
    try:
        code = commands(prog_name="contact-pattern", standalone_mode=False)
    except PatternError as error:
        click.echo(error.message, err=True)
        sys.exit(error.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except (click.Abort, KeyboardInterrupt):
        click.echo("Interrupted.", err=True)
        sys.exit(130)
    except BrokenPipeError:
        # Whoever read our output has enough (`| head`); the rest must not be flushed at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        click.echo(f"{place}{error.strerror or error}. Check the place and its free room", err=True)
        sys.exit(1)
    sys.exit(code if isinstance(code, int) else 0)
