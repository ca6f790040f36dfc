#!/usr/bin/env python
"""The door for every command.  `--data DIR` names the folder where database, keys and files live; it
is taken here, before Django starts, so that every command understands it."""

import os
import sys


def _take_data_folder(argv: list[str]) -> list[str]:
    """The arguments without `--data DIR`, whose folder goes into the environment."""
    rest: list[str] = []
    words = iter(argv)
    for word in words:
        if word == "--data":
            folder = next(words, None)
            if folder is None:
                sys.exit("--data needs a folder: --data DIR")
            os.environ["SMOKEHOUSE_DATA"] = os.path.abspath(folder)
        elif word.startswith("--data="):
            os.environ["SMOKEHOUSE_DATA"] = os.path.abspath(word.removeprefix("--data="))
        else:
            rest.append(word)
    return rest


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "smokehouse.settings")
    argv = _take_data_folder(sys.argv)
    try:
        from django.core.exceptions import ImproperlyConfigured
        from django.core.management import execute_from_command_line
        from django.db import OperationalError
    except ImportError:
        sys.exit("Django is not installed here. Run the set-up command at the top of README.md.")
    try:
        execute_from_command_line(argv)
    except ImproperlyConfigured as error:  # in words: DATABASE_URL that cannot be read
        sys.exit(str(error))
    except OperationalError as error:
        if not os.environ.get("DATABASE_URL"):
            raise
        sys.exit(f"PostgreSQL cannot be used: {str(error).strip()}")


if __name__ == "__main__":
    main()
