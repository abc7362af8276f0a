"""What meets the register block: a host's program on its bus, a disk that turns, level inputs."""
