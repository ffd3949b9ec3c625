"""``python -m scalemodel.cli``."""

from scalemodel.cli.main import main

main()
