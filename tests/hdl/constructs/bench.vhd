-- Prints what a design shows in each cycle; bench.v does the same with its translation.
library ieee;
use ieee.std_logic_1164.all;
use std.textio.all;

entity bench is
end entity;

architecture printing of bench is
  signal clk    : std_logic := '0';
  signal rst    : std_logic := '1';
  signal sample : std_logic_vector(15 downto 0) := x"ace1";
  signal narrow : std_logic_vector(15 downto 0);
  signal wide   : std_logic_vector(39 downto 0);
begin

  tested : entity work.constructs port map (clk, rst, sample, narrow, wide);

  process
    variable text : line;
  begin
    for n in 0 to 3999 loop
      wait for 5 ns;
      clk <= '1';
      wait for 5 ns;
      if n > 40 then
        hwrite(text, narrow);
        write(text, string'(" "));
        hwrite(text, wide);
        writeline(output, text);
      end if;
      clk   <= '0';
      rst   <= '0' when n > 20 else '1';
      sample <= sample(14 downto 0) & (sample(15) xor sample(13) xor sample(12) xor sample(10));
    end loop;
    wait;
  end process;

end architecture;
