"""What is on the disk and passes the head: MFM, CRC, tracks, channel bits, flux, writes."""
