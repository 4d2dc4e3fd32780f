"""Many builds and many runs: what an uncertain input does to the answer."""
