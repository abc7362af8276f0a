-- The status register in VHDL: one clocked process over one record, reads through a register.
library ieee;
use ieee.std_logic_1164.all;
use ieee.numeric_std.all;
use work.block_types.all;

entity status_core is
  generic (
    REALIGN   : natural := 1;  -- B4: 0 never, 1 when waiting for sync, 2 always
    READY_TIE : natural := 0;  -- B5: byte and read on one edge: 0 set wins, 1 clear wins
    SYNC_VIEW : natural := 0   -- B3: 0 live, 1 registered (one cycle later)
  );
  port (
    -- clock
    clock      : in  std_logic;
    reset_n    : in  std_logic;  -- synchronous
    -- disk
    bit_valid  : in  std_logic;
    bit_value  : in  std_logic;
    -- host
    chosen     : in  std_logic;
    write_n    : in  std_logic;  -- chosen: 0 writes, 1 reads
    place      : in  std_logic;  -- status 0, sync word 1
    from_host  : in  word_t;
    to_host    : out word_t;     -- one cycle after the read
    -- transfer
    moving     : in  std_logic;
    to_disk    : in  std_logic;
    hold_off   : in  std_logic;  -- control.wait_for_sync
    -- status
    status_now : out word_t
  );
end entity;

architecture one_process of status_core is

  signal state  : state_t;
  signal status : word_t;

begin

  status     <= status_of(state, SYNC_VIEW = 1);
  status_now <= status;

  step : process (clock)
    variable coming   : state_t;
    variable reads    : boolean;
    variable realigns : boolean;
  begin
    if rising_edge(clock) then
      coming   := state;
      reads    := chosen = '1' and write_n = '1' and place = STATUS_PLACE;
      realigns := REALIGN = 2 or (REALIGN = 1 and hold_off = '1');

      -- The clear comes first in the text and loses to a byte, or last and wins (B5).
      if reads and READY_TIE = 0 then
        coming.byte_ready := '0';
      end if;

      -- A write lands before the bit of the same edge (B3).
      if chosen = '1' and write_n = '0' and place = SYNC_WORD_PLACE then
        coming.sync_word := from_host;
      end if;

      if bit_valid = '1' then
        coming.window  := state.window(14 downto 0) & bit_value;
        coming.missing := state.missing - 1;
        if state.missing = 0 then
          coming.data       := coming.window(7 downto 0);
          coming.byte_ready := '1';
        end if;
        if realigns and coming.window = coming.sync_word then
          coming.missing := "111";
        end if;
      end if;

      if reads and READY_TIE = 1 then
        coming.byte_ready := '0';
      end if;

      coming.equal        := '1' when coming.window = coming.sync_word else '0';
      coming.equal_before := state.equal;
      coming.dma_active   := moving;   -- B6
      coming.writing      := to_disk;  -- B7

      if reset_n = '0' then
        coming := AFTER_RESET;
      end if;

      state   <= coming;
      to_host <= status when place = STATUS_PLACE else state.sync_word;
    end if;
  end process;

end architecture;
