"""Entry point of the command `cuffloop`: all else is imported where Ctrl-C ends in one line."""
import sys


def main() -> None:
    """Run the command line and exit with its status; interrupted while it is still being loaded, with 130."""
    try:
        from experiments.commands.main import main as run
    except KeyboardInterrupt:
        print("cuffloop: interrupted", file=sys.stderr)
        sys.exit(130)
    run()
