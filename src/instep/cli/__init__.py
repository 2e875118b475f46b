"""The command line: one command a file."""


def main() -> None:
    """Run the command line."""
