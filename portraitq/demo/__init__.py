"""The demo: an invented night market on a quay that trades by itself."""
