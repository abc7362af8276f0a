"""What to say wherever a line of a real drive is written or wired."""

CAUTIONS = (
    "Writing destroys what is on a disk: try scrap disks first, and keep the write-protect path"
    " in hardware.",
    "Many drives pull their lines up to 5 V, many pins take 3.3 V at most: follow both data"
    " sheets.",
    "The model is no substitute for measuring your own hardware.",
)
