"""The one exception for input that cannot be used; commands print its single line and exit with status 2."""


class InputError(ValueError):
    """Bad input. The message is one line: file, key or row, the value, the allowed range."""
