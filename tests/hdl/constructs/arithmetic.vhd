-- What version 2 of GHDL writes wrong in Verilog: signed shifts, division, abs, lesser and greater.
library ieee;
use ieee.std_logic_1164.all;
use ieee.numeric_std.all;

entity constructs is
  port (
    clk    : in  std_logic;
    rst    : in  std_logic;
    sample : in  std_logic_vector(15 downto 0);
    narrow : out std_logic_vector(15 downto 0);
    wide   : out std_logic_vector(39 downto 0)
  );
end entity;

architecture arithmetic of constructs is

  type pair_t is record
    number : unsigned(4 downto 0);
    byte   : std_logic_vector(7 downto 0);
  end record;
  type pairs_t is array (0 to 3) of pair_t;

  signal pairs  : pairs_t;
  signal sum    : signed(15 downto 0);
  signal sum_40 : signed(39 downto 0);
  signal turned : std_logic_vector(15 downto 0);

  function ones (word : std_logic_vector) return natural is
    variable found : natural := 0;
  begin
    for n in word'range loop
      if word(n) = '1' then
        found := found + 1;
      end if;
      exit when found = 9;
    end loop;
    return found;
  end function;

begin

  process (clk)
    variable place : natural range 0 to 3;
    variable value : signed(15 downto 0);
  begin
    if rising_edge(clk) then
      place := to_integer(unsigned(sample(1 downto 0)));
      value := signed(sample);

      pairs(place).number <= pairs(place).number + 5;
      pairs(place).byte   <= sample(9 downto 2);

      sum <= sum + value;
      if sum < -100 then
        sum <= shift_right(sum, 2);
      elsif sum > 8192 then
        sum <= -sum;
      end if;

      sum_40 <= shift_right(sum_40, to_integer(unsigned(sample(3 downto 0)))) + resize(value, 40);
      turned <= turned rol 3 when sample(0) = '1' else turned ror to_integer(unsigned(sample(3 downto 0)));

      case sample(6 downto 4) is
        when "000"  => narrow <= std_logic_vector(unsigned(sample) / 7);
        when "001"  => narrow <= std_logic_vector(unsigned(sample) mod 10);
        when "010"  => narrow <= std_logic_vector(value / 5);
        when "011"  => narrow <= std_logic_vector(value rem 9);
        when "100"  => narrow <= std_logic_vector(value mod to_signed(-9, 16));
        when "101"  => narrow <= std_logic_vector(abs sum);
        when "110"  => narrow <= std_logic_vector(minimum(value, sum)) xor turned;
        when others => narrow <= std_logic_vector(maximum(value, sum) + ones(sample));
      end case;

      wide <= std_logic_vector(sum_40) when value > -5 else
        turned & pairs(3 - place).byte & std_logic_vector(resize(unsigned(sample) * 3, 16));

      if rst = '1' then
        pairs  <= (others => ("00011", x"5a"));
        sum    <= (others => '0');
        sum_40 <= x"8000000003";
        turned <= x"1234";
        narrow <= (others => '0');
        wide   <= (others => '0');
      end if;
    end if;
  end process;

end architecture;
