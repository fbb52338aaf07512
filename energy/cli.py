"""The command line `windtoll`: one subcommand a question. No formula lives here.

Nothing is imported before `main` runs, so that an interrupt is one word whenever it comes.
"""

from __future__ import annotations

import errno
import os
import sys

TYPE_CHECKING = False  # type checkers take the name for true; `typing` is not imported before an interrupt is caught
if TYPE_CHECKING:
    from types import FrameType, TracebackType

    import click

    from vehicle.problems import InputError

# name -> module of energy.commands that holds a click command of the name `command`; imported only when asked for.
COMMANDS = {
    "begin": "begin",
    "answer": "answer",
    "match": "match",
    "payback": "payback",
    "reconcile": "reconcile",
    "shortfall": "shortfall",
    "size": "size",
    "curves": "curves",
    "loads": "loads",
    "balance": "balance",
    "truepitch": "truepitch",
    "tune": "tune",
    "callsheet": "callsheet",
    "heat": "heat",
    "plan": "plan",
    "record": "record",
    "join": "join",
    "read": "read",
    "compare": "compare",
    "fit": "fit",
    "app": "app",
    "evidence": "evidence",
    "check": "check",
    "keys": "keys",
    "schema": "schema",
    "example": "example",
}


# What `main` returns (3 is an answer that says "do not operate").
BAD_INPUT, UNFORESEEN, INTERRUPTED = 2, 70, 130
SHOW_TRACEBACK = "WINDTOLL_TRACEBACK"  # environment: let what is unforeseen through, as the tests do


def group() -> click.Group:
    """Return the command line as a click group."""
    import click

    from energy.commands.lazy import LazyGroup

    settings = {"help_option_names": ["-h", "--help"], "max_content_width": 100}

    @click.group(cls=LazyGroup, table=COMMANDS, context_settings=settings)
    @click.version_option(package_name="windtoll", prog_name="windtoll")  # looked up only where it is asked for
    def windtoll() -> None:
        """Does a wind turbine on your vehicle save fuel or cost fuel?

        Start with `windtoll begin mine` (its --help lists what you may know), or from demos: `windtoll example
        demos`, then `windtoll answer demos/van_water_tank/scenario.toml`.

        Every answer is an estimate for planning. It is no structural, electrical or roadworthiness approval.
        """

    return windtoll


def main() -> None:
    """Run the command line and exit.

    Status 0 for an answer (also where nobody reads on: a closed pipe), 2 for bad input told on standard error, 3 for an
    answer that says "do not operate", 70 for what nobody foresaw, 130 when interrupted.
    """
    sys.unraisablehook, sys.excepthook = _again_if_interrupted, _unless_interrupted
    try:
        status = _run()
    except KeyboardInterrupt:
        status = _interrupted()
    sys.exit(status)


def _again_if_interrupted(unraisable: sys.UnraisableHookArgs) -> None:
    """Interrupt once more where the first interrupt fell into what cannot raise, such as an import's own tidying.

    Here nothing can be raised either: what is raised in this hook is printed and lost. So it is left to the next call
    or return after it.
    """
    if not issubclass(unraisable.exc_type, KeyboardInterrupt):
        sys.__unraisablehook__(unraisable)
        return
    hook = sys._getframe().f_code

    def interrupt(frame: FrameType, event: str, argument: object) -> None:
        if frame.f_code is not hook:
            sys.setprofile(None)
            raise KeyboardInterrupt

    sys.setprofile(interrupt)


def _unless_interrupted(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    """Print an exception, but for an interrupt: compiled code prints one that it cannot raise before it hands it on."""
    if not issubclass(kind, KeyboardInterrupt):
        sys.__excepthook__(kind, error, trace)


def _run() -> int:
    import atexit
    import signal

    import click

    from energy.commands.streams import carry_signs
    from vehicle.problems import InputError, Problem

    atexit.register(signal.signal, signal.SIGINT, signal.SIG_IGN)  # then all is said: nothing is left to interrupt
    carry_signs()
    as_json = "--json" in sys.argv[1:]
    try:
        status = group()(standalone_mode=False)
        sys.stdout.flush()
        return status if isinstance(status, int) else 0
    except InputError as error:
        tell(error, as_json=as_json)
        return BAD_INPUT
    except click.ClickException as error:
        if as_json:
            tell(InputError(Problem("command line", "", error.format_message(), "see --help")), as_json=True)
        else:
            error.show()
        return BAD_INPUT
    except click.Abort as error:
        if isinstance(error.__cause__, EOFError):  # click calls it an interrupt: a file that ends too early is none
            return _unforeseen(error.__cause__, as_json=as_json)
        return _interrupted()
    except SystemExit as error:
        if isinstance(error.__context__, BrokenPipeError):  # how click and rich end where nobody reads on
            return _deaf_output()
        raise
    except BrokenPipeError:
        return _deaf_output()
    except OSError as error:
        if error.errno not in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
            return _unforeseen(error, as_json=as_json)
        _deaf_output()
        read = f"cannot be written ({error.strerror})"
        tell(InputError(Problem("standard output", "", read, "a disk with room")), as_json=as_json)
        return BAD_INPUT
    except Exception as error:  # the last resort
        return _interrupted() if _began_as_interrupt(error) else _unforeseen(error, as_json=as_json)


def _began_as_interrupt(error: BaseException | None) -> bool:
    """Return whether an interrupt led to an error, as where it fell into the import of a compiled module."""
    while error is not None and not isinstance(error, KeyboardInterrupt):
        error = error.__cause__ or error.__context__
    return error is not None


def _interrupted() -> int:
    print("interrupted", file=sys.stderr)
    return INTERRUPTED


def _deaf_output() -> int:
    """Send what is still buffered for standard output to nowhere, or Python fails again on its way out; return 0."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


def _unforeseen(error: BaseException, *, as_json: bool) -> int:
    """Tell in one sentence that something failed that nobody foresaw, its traceback in a file; return the status."""
    if os.environ.get(SHOW_TRACEBACK):
        raise error
    import platform
    import tempfile
    import traceback

    from vehicle.problems import InputError, Problem, shown

    lines = [f"{sys.argv[1:]!r}", platform.platform(), sys.version, "", *traceback.format_exception(error)]
    read = f"failed in a way that nobody foresaw ({type(error).__name__}: {shown(error, 100)})"
    ask = "please report it to where you got windtoll from"
    try:
        handle, name = tempfile.mkstemp(prefix="windtoll_fault_", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8", errors="backslashreplace") as file:
            file.write("\n".join(lines))
        ask += f", with the file {name}: the command and where it failed"
    except OSError as full:
        ask += f" (no file with the details: {full.strerror})"
    if as_json:
        tell(InputError(Problem("windtoll", "", f"{read}; {ask}", "")), as_json=True)
    else:
        print(f"windtoll {read}; {ask}.", file=sys.stderr)
    return UNFORESEEN


def tell(error: InputError, *, as_json: bool) -> None:
    """Write every problem of an input to standard error, one line each, or as JSON."""
    import json

    if as_json:
        document = {"errors": [problem.as_dict() for problem in error.problems]}
        print(json.dumps(document, indent=2), file=sys.stderr)
        return
    count = len(error.problems)
    print(f"{count} problem{'s' if count > 1 else ''} in the input; nothing was computed or written:", file=sys.stderr)
    for problem in error.problems:
        print(f"  {problem}", file=sys.stderr)
