"""``python -m truemile`` is the command ``truemile``."""

from truemile.cli import main

if __name__ == "__main__":
    main()
