"""The face of anklefirst: the screens and the command line. It decides nothing about a leg."""
