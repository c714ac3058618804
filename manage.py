#!/usr/bin/env python3
"""The one door for people at a terminal.

``start`` and ``suite`` work with nothing but Python 3.11+: they make the virtual
environment first. Every other command is Django's.
"""

import os
import sys

from farmops import bootstrap


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "farmops.settings")
    if len(sys.argv) > 1 and sys.argv[1] in bootstrap.COMMANDS:
        sys.exit(bootstrap.COMMANDS[sys.argv[1]](sys.argv[2:]))
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
