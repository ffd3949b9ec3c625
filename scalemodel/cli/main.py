"""The command line's frame: the list of commands, loaded when used, and the one error handler."""

from __future__ import annotations

import importlib
import os
import sys
from contextlib import suppress
from difflib import get_close_matches

import click

from scalemodel.cli.errors_as_typed import find_command, in_typed_words, refuse_no_text, refuse_repeats
from scalemodel.cli.streams import fit_streams, json_text, say_error
from scalemodel.errors import BadValueError, ScalemodelError, UnknownNameError

COMMANDS = {
    "demo": ("scalemodel.cli.demo:demo", "Load an invented workshop and show its deferral dates."),
    "new": ("scalemodel.cli.new:new", "Register a boiler, a site or a water."),
    "add": ("scalemodel.cli.add:add", "Record a look, a water test, use, a fill, a descale, prices."),
    "history": ("scalemodel.cli.history:history", "Show all records, with what was amended or struck."),
    "amend": ("scalemodel.cli.history:amend", "Correct a record; the old one is kept."),
    "strike": ("scalemodel.cli.history:strike", "Strike a record, or an import, with a reason; it is kept, marked."),
    "retire": ("scalemodel.cli.retire:retire", "Take a boiler out of use and of every list; its records stay."),
    "rename": ("scalemodel.cli.rename:rename", "Call a boiler, a site or a water otherwise; its records follow."),
    "risk": ("scalemodel.cli.ask:risk", "Probability of scale past the threshold on given dates."),
    "defer": ("scalemodel.cli.ask:defer", "How long can the descale safely be deferred?"),
    "due": ("scalemodel.cli.due:due", "What is due: every boiler, soonest first, alarms on top."),
    "fleet": ("scalemodel.cli.fleet:fleet", "Ask all boilers of a fleet at once, with all cores or a cluster."),
    "descale-plan": ("scalemodel.cli.descale_plan:descale_plan", "How to descale: acid, water, steps and cautions."),
    "inspection-guide": (
        "scalemodel.cli.inspection_guide:inspection_guide",
        "How to look inside and grade what you see.",
    ),
    "next-inspection": (
        "scalemodel.cli.next_inspection:next_inspection",
        "The next look: where, how, when, and what it decides.",
    ),
    "cost": ("scalemodel.cli.cost:cost", "What descaling at a fixed age costs, and the age that costs least."),
    "water": ("scalemodel.cli.water:water", "Analyse a water, mix one, or compare some."),
    "trial": ("scalemodel.cli.water_plan:trial", "What trying another water would risk, and teach."),
    "plot": ("scalemodel.cli.plot:plot", "Draw the risk and deposit curves to PNG or SVG."),
    "report": ("scalemodel.cli.report:report", "A page on a boiler, or on all, for any browser."),
    "calendar": ("scalemodel.cli.calendar:calendar", "Descale dates and looks as a file for any calendar."),
    "serve": ("scalemodel.cli.serve:serve", "The pages at the machine, for the phone in your hand."),
    "check": ("scalemodel.cli.check:check", "Check the answer: another sampler, odd looks, each prior."),
    "hindsight": ("scalemodel.cli.hindsight:hindsight", "Were the looks as foretold, and has anything changed?"),
    "priors": ("scalemodel.cli.priors:priors", "What is believed before any record, and how to believe otherwise."),
    "calibrate": ("scalemodel.cli.calibrate:calibrate", "Try it on invented boilers: do stated risks come true?"),
    "simulate": ("scalemodel.cli.simulate:simulate", "Invent a fleet, with its hidden truth, for trials."),
    "import": ("scalemodel.cli.import_export:import_folder", "Read a folder of CSV files, all or nothing."),
    "logbook": ("scalemodel.cli.logbook:logbook", "Check the logbook, or back it up."),
    "export": ("scalemodel.cli.import_export:export_folder", "Write the logbook as a folder of CSV files."),
}
"""Every command by its name: where it lives, and its line in the list of commands."""


LINEAR_ALGEBRA_THREADS = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS")
"""The matrices here are small and many: threads of the library would mostly wait for each other, the worse the busier
the machine. So one each, unless the environment says otherwise."""


class LazyGroup(click.Group):
    """A group whose commands are imported only when run, and whose errors are one line each."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        module, attribute = COMMANDS[name][0].split(":")
        return getattr(importlib.import_module(module), attribute)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """The words as click reads them; an option given twice is refused, for every command here."""
        if not ctx.resilient_parsing:
            refuse_repeats(self, ctx, args)
        return super().parse_args(ctx, args)

    def resolve_command(self, ctx: click.Context, args: list[str]):
        """The command that the words begin with; for one that is nearly that of a command, that one is named."""
        near = get_close_matches(args[0], COMMANDS, n=1, cutoff=0.6)
        if near and args[0] not in COMMANDS and not ctx.resilient_parsing:
            raise UnknownNameError("command", args[0], near)
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> object:
        """Run the command; where it does not know a name that the logbook once had, that is said."""
        try:
            return super().invoke(ctx)
        except UnknownNameError as error:
            from scalemodel.cli.former_names import told_now
            from scalemodel.cli.options_and_output import logbook_path

            raise told_now(error, logbook_path(ctx)) from None

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list:
        """Commands that begin so, with their lines, none of them imported; or options."""
        if incomplete.startswith("-"):
            return super().shell_complete(ctx, incomplete)
        from click.shell_completion import CompletionItem

        return [CompletionItem(name, help=line) for name, (_, line) in COMMANDS.items() if name.startswith(incomplete)]

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])

    def main(self, args: list[str] | None = None, **extra) -> None:
        """Run a command; any error a person can mend becomes one line and exit code 2."""
        given = list(sys.argv[1:] if args is None else args)
        extra["standalone_mode"] = False
        for name in LINEAR_ALGEBRA_THREADS:
            os.environ.setdefault(name, "1")
        fit_streams()
        try:
            refuse_no_text(given)
            sys.exit(super().main(args=given, **extra) or 0)
        except ScalemodelError as error:
            told = in_typed_words(error, find_command(self, given))
            report_error(str(told), given, getattr(error, "faults", ()))
            sys.exit(error.exit_code)
        except click.exceptions.NoArgsIsHelpError as error:
            click.echo(error.ctx.get_help())
            sys.exit(0)
        except click.ClickException as error:
            hint = f"; see '{error.ctx.command_path} --help'" if getattr(error, "ctx", None) else ""
            report_error(" ".join(error.format_message().split()).rstrip(".") + hint, given)
            sys.exit(2)
        except BrokenPipeError:
            sys.stderr.close()  # the reader has gone: nothing is left to say to it
            sys.exit(1)
        except OSError as error:
            place = repr(str(error.filename)) if error.filename else "the output"
            report_error(f"{place}: {error.strerror}; choose a place that can be written", given)
            sys.exit(2)
        except click.exceptions.Exit as stop:
            sys.exit(stop.exit_code)
        except click.Abort:
            say_error("stopped; nothing more was written")
            sys.exit(130)


def report_error(line: str, given: list[str], faults=()) -> None:
    """Say an error on standard error; with ``--json`` among the arguments also as an object."""
    say_error(f"error: {line}")
    for fault in faults:
        say_error(f"  {fault}")
    if "--json" in given:
        body = {"error": line, "faults": list(faults)} if faults else {"error": line}
        with suppress(OSError):  # it may be the output itself that cannot be written
            click.echo(json_text(body))


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--logbook",
    "path",
    type=click.Path(),
    envvar="SCALEMODEL_LOGBOOK",
    metavar="PATH",
    help="The logbook file (default: in your user folder; or set SCALEMODEL_LOGBOOK).",
)
@click.version_option(package_name="scalemodel", prog_name="scalemodel")
@click.pass_context
def main(ctx: click.Context, path: str | None) -> None:
    """Turn what you see in a small boiler into the date by which it needs descaling.

    \b
    Example:
      scalemodel new boiler kitchen --volume 0.75 --temperature 93 --installed 2026-01-10
      scalemodel add inspection kitchen 2026-04-12 1-2
      scalemodel defer kitchen
    """
    refuse_no_text([] if path is None else [path])  # it may come from the environment
    if path == "":  # an empty variable of the environment counts as unset, and never comes here
        raise BadValueError("--logbook", path, "the path of a logbook file; leave --logbook out for the usual one")
    ctx.obj = path
