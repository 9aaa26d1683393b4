"""``python -m loambrief.cli``."""

from loambrief.cli import main

main(prog_name="loambrief")
