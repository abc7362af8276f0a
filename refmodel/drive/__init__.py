"""The drive as the host sees it: index, track, whether the head has settled."""
