"""The HDL of a user: its elaborated design, and VHDL turned into Verilog."""
