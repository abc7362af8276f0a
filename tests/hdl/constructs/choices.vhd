-- What version 2 of GHDL writes wrong in Verilog: `case` with others, and constants over 32 bits.
library ieee;
use ieee.std_logic_1164.all;
use ieee.numeric_std.all;

entity part is
  generic (WIDTH : natural := 4; KEY : std_logic_vector(39 downto 0) := x"00000000ff");
  port (
    clk  : in  std_logic;
    some : in  std_logic_vector(WIDTH - 1 downto 0);
    word : out std_logic_vector(39 downto 0)
  );
end entity;

architecture clocked of part is
begin
  process (clk)
  begin
    if rising_edge(clk) then
      word <= KEY xor std_logic_vector(resize(unsigned(some), 40));
    end if;
  end process;
end architecture;

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

architecture choices of constructs is

  type phase_t is (idle, ready, running, halted, over);
  type memory_t is array (0 to 15) of std_logic_vector(39 downto 0);

  signal phase   : phase_t;
  signal memory  : memory_t := (others => (others => '0'));
  signal shifted : std_logic_vector(39 downto 0);
  signal one     : std_logic_vector(39 downto 0);
  signal two     : std_logic_vector(39 downto 0);
  signal count   : integer range 0 to 12;

  function picked (choice : std_logic_vector(2 downto 0); else_this : std_logic_vector(3 downto 0))
    return std_logic_vector is
  begin
    case choice is
      when "000"         => return "1000";
      when "001" | "010" => return "0100";
      when "101"         => return choice & '1';
      when others        => return else_this;
    end case;
  end function;

begin

  first  : entity work.part generic map (WIDTH => 4) port map (clk, sample(3 downto 0), one);
  second : entity work.part
    generic map (WIDTH => 8, KEY => x"123456789a") port map (clk, sample(7 downto 0), two);

  wide <= memory(to_integer(unsigned(sample(15 downto 12)))) xor one when sample(0) = '1' else two;

  process (clk)
  begin
    if rising_edge(clk) then
      case sample(1 downto 0) is
        when "01"   => shifted <= x"0123456789";
        when "10"   => shifted <= (39 => '1', 3 downto 0 => "1010", others => '0');
        when others => shifted <= shifted(38 downto 0) & sample(5);
      end case;

      case phase is
        when idle    => if sample(2) = '1' then phase <= ready; end if;
        when ready   => phase <= running when sample(3) = '1' else halted;
        when running => phase <= idle;
        when others  => phase <= idle when sample(4) = '1' else over;
      end case;

      case count is
        when 0 to 3 => count <= count + 4;
        when 7 | 9  => count <= count - 2;
        when 12     => count <= 0;
        when others => count <= count + 1;
      end case;

      memory(to_integer(unsigned(sample(3 downto 0)))) <= shifted;
      narrow <= picked(sample(14 downto 12), sample(3 downto 0)) & std_logic_vector(to_unsigned(count, 4))
        & std_logic_vector(to_unsigned(phase_t'pos(phase), 4)) & shifted(3 downto 0);

      if rst = '1' then
        shifted <= x"8000000001";
        phase   <= idle;
        count   <= 3;
        narrow  <= (others => '0');
      end if;
    end if;
  end process;

end architecture;
