"""What is on the disk: MFM, CRC, track layouts and when each channel bit passes the head."""
