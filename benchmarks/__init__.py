"""How fast it is, against peers in the same run: `python -m benchmarks` or `scripts/bench`."""
