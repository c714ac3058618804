"""The demo farm: an invented season played through the very services the farm uses."""
