"""How well readings repeat: the error per measurer and point."""
