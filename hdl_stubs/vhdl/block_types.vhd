-- What the status core remembers between edges, and the word a host reads from it.
library ieee;
use ieee.std_logic_1164.all;
use ieee.numeric_std.all;

package block_types is

  subtype word_t is std_logic_vector(15 downto 0);
  subtype byte_t is std_logic_vector(7 downto 0);

  type state_t is record
    window       : word_t;                -- newest channel bit in bit 0 (B2)
    sync_word    : word_t;
    missing      : unsigned(2 downto 0);  -- bits the byte still needs after the next one (B4)
    data         : byte_t;
    byte_ready   : std_logic;
    dma_active   : std_logic;
    writing      : std_logic;
    equal        : std_logic;             -- worked out at the edge, from the window after it (B3)
    equal_before : std_logic;
  end record;

  -- B14
  constant AFTER_RESET : state_t := (
    window     => x"0000",
    sync_word  => x"4489",
    missing    => "111",
    data       => x"00",
    byte_ready => '0',
    dma_active => '0',
    writing    => '0',
    others     => '0'
  );

  constant STATUS_PLACE    : std_logic := '0';
  constant SYNC_WORD_PLACE : std_logic := '1';

  -- B8: bits 11 to 8 are never set.
  function status_of (state : state_t; registered_view : boolean) return word_t;

end package;

package body block_types is

  function status_of (state : state_t; registered_view : boolean) return word_t is
    variable shown : std_logic;
  begin
    shown := state.equal_before when registered_view else state.equal;
    return state.byte_ready & state.dma_active & state.writing & shown & "0000" & state.data;
  end function;

end package body;
