"""The command line: reads arguments, calls, prints. Results go to stdout, progress and errors to stderr.

Exit codes: 0 done, 1 nothing feasible, 2 bad input, 130 interrupted.
"""

import io
import sys

import typer

from optimize.cli import bench_commands, core_commands, kept_commands, run_commands  # noqa: F401 - they fill the app in this order
from optimize.cli.app import app
from optimize.errors import FinfrontError

__all__ = ["app", "main"]


def main() -> None:
    """Run the command line; errors of the user are printed without a traceback."""
    debug = "--debug" in sys.argv[1:]
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal that knows no degree sign
    arguments = [a for a in sys.argv[1:] if a != "--debug"] or ["--help"]
    try:
        code = app(args=arguments, standalone_mode=False)
    except FinfrontError as error:
        code = _complain(str(error), error if debug else None, 2)
    except (typer.Exit, SystemExit) as leave:
        code = getattr(leave, "exit_code", getattr(leave, "code", 0))
    except OSError as error:
        where = f": '{error.filename}'" if error.filename else ""
        told = FinfrontError(f"{error.strerror or error}{where}", do="name another place, or make room")
        code = _complain(str(told), error if debug else None, 2)
    except Exception as error:
        code = 130 if _interrupted(error) else _unexpected(error, debug)
    if code == 130:  # typer turns Ctrl-C into this
        print("stopped", file=sys.stderr)
    sys.exit(code if isinstance(code, int) else 0)


def _complain(text: str, error: BaseException | None, code: int) -> int:
    if error is not None:
        raise error
    print(text, file=sys.stderr)
    return code


def _interrupted(error: BaseException | None) -> bool:
    """Whether Ctrl-C came while a compiled module was being loaded, which makes another error of it."""
    if error is None or isinstance(error, KeyboardInterrupt):
        return error is not None
    return _interrupted(error.__cause__ or error.__context__)


def _unexpected(error: Exception, debug: bool) -> int:
    """A fault of the command line as typed, of the disk, or of ours: never a traceback unless asked for."""
    if debug:
        raise error
    message = error.format_message() if hasattr(error, "format_message") else f"{type(error).__name__}: {error}"
    hint = "see --help" if hasattr(error, "format_message") else "run the same command with --debug and report it"
    return _complain(str(FinfrontError(message, do=hint)), None, 2)
