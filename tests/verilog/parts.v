// SPDX-License-Identifier: MIT
// Behavioural models of the parts on the test boards, for board2v.py.
//
// Every model has two ports: i[n] is the level that stands at pin n, o[n] what the part drives
// there, z when it does not drive.  The board module turns o into drivers of the board's nets, with
// the strengths that the fault under test asks for.  Pin numbers: makers' data sheets (numbered here a
// second time, on purpose not read from any table).  Delays are in no relation to real ones; they
// only keep the order of events that a real part keeps: outputs let go after strobes end, so
// that data are still there when a write ends.
`timescale 1ns/1ns

// What a RAM holds before anything was written: anything, but always the same.
`define POWER_UP(a, n) ((((a) * 40503) >> 7) ^ ((a) >> 3) ^ (n))

// ---- memories ----
module m_27256 #(parameter FILE = "", parameter SIZE = 32768) (input [28:1] i, output [28:1] o);
  reg [7:0] m [0:SIZE-1];
  wire [14:0] a = {i[27], i[26], i[2], i[23], i[21], i[24], i[25], i[3], i[4], i[5], i[6], i[7], i[8], i[9], i[10]};
  wire [7:0] q;
  initial $readmemh(FILE, m);
  assign #(2, 2, 2) q = (!i[20] && !i[22]) ? m[a % SIZE] : 8'bz;
  assign {o[19], o[18], o[17], o[16], o[15], o[13], o[12], o[11]} = q;
endmodule

module m_2764 #(parameter FILE = "") (input [28:1] i, output [28:1] o); // pin 26 is not connected inside, 27 is PGM#
  m_27256 #(.FILE(FILE), .SIZE(8192)) rom(.i({i[28], 2'b00, i[25:1]}), .o(o));
endmodule

module m_27C1024 #(parameter FILE = "") (input [40:1] i, output [40:1] o);
  reg [15:0] m [0:65535];
  wire [15:0] a = {i[37], i[36], i[35], i[34], i[33], i[32], i[31], i[29], i[28], i[27], i[26], i[25], i[24], i[23], i[22],
                   i[21]};
  wire [15:0] q;
  initial $readmemh(FILE, m);
  assign #(2, 2, 2) q = (!i[2] && !i[20]) ? m[a] : 16'bz;
  assign {o[3], o[4], o[5], o[6], o[7], o[8], o[9], o[10], o[12], o[13], o[14], o[15], o[16], o[17], o[18], o[19]} = q;
endmodule

module m_62256 #(parameter NO_WRITES = 0, parameter N = 0) (input [28:1] i, output [28:1] o);
  reg [7:0] m [0:32767];
  wire [14:0] a = {i[1], i[26], i[2], i[23], i[21], i[24], i[25], i[3], i[4], i[5], i[6], i[7], i[8], i[9], i[10]};
  wire [7:0] d = {i[19], i[18], i[17], i[16], i[15], i[13], i[12], i[11]};
  wire writing = !i[20] && !i[27];
  reg [7:0] cell_now;
  reg done = 0;
  wire [7:0] q;
  always @(a or done) begin
    cell_now = m[a];
    if (cell_now[0] === 1'bx) cell_now = `POWER_UP(a, N);
  end
  assign #(2, 2, 2) q = (!i[20] && !i[22] && i[27]) ? cell_now : 8'bz;
  assign {o[19], o[18], o[17], o[16], o[15], o[13], o[12], o[11]} = q;
  always @(negedge writing) if ($time > 5 && !NO_WRITES) begin
    m[a] = d;
    done = ~done;
  end
endmodule

// One bit wide dynamic RAM; BITS multiplexed address lines.
module m_dram #(parameter BITS = 9, parameter NO_WRITES = 0, parameter N = 0)
               (input [BITS-1:0] a, input d, w_n, ras_n, cas_n, output q);
  reg [63:0] m [0:(1 << (2 * BITS - 6)) - 1]; // 64 cells a word: quick to set up; x where nothing was written
  reg [BITS-1:0] row;
  reg [2*BITS-1:0] at;
  reg value = 0, open = 0;
  always @(negedge ras_n) row = a;
  always @(negedge cas_n) if (!ras_n) begin
    at = {row, a};
    if (!w_n) begin
      if (!NO_WRITES) m[at[2*BITS-1:6]][at[5:0]] = d;
      open = 0;
    end else begin
      value = m[at[2*BITS-1:6]][at[5:0]];
      if (value === 1'bx) value = `POWER_UP(at, N);
      open = 1;
    end
  end
  always @(negedge w_n) if (!ras_n && !cas_n && !NO_WRITES) m[at[2*BITS-1:6]][at[5:0]] = d; // late write
  always @(posedge cas_n) open = 0;
  assign #(2, 2, 2) q = (open && !cas_n) ? value : 1'bz;
endmodule

module m_41256 #(parameter NO_WRITES = 0, parameter N = 0) (input [16:1] i, output [16:1] o);
  m_dram #(9, NO_WRITES, N) c({i[1], i[9], i[13], i[10], i[11], i[12], i[6], i[7], i[5]}, i[2], i[3], i[4], i[15], o[14]);
endmodule

module m_4164 #(parameter NO_WRITES = 0, parameter N = 0) (input [16:1] i, output [16:1] o);
  m_dram #(8, NO_WRITES, N) c({i[9], i[13], i[10], i[11], i[12], i[6], i[7], i[5]}, i[2], i[3], i[4], i[15], o[14]);
endmodule

// ---- logic ----
module m_74245(input [20:1] i, output [20:1] o);
  wire [7:0] a, b;
  assign #(1, 1, 3) b = (!i[19] && i[1]) ? i[9:2] : 8'bz;
  assign #(1, 1, 3) a = (!i[19] && !i[1]) ? {i[11], i[12], i[13], i[14], i[15], i[16], i[17], i[18]} : 8'bz;
  assign o[9:2] = a;
  assign {o[11], o[12], o[13], o[14], o[15], o[16], o[17], o[18]} = b;
endmodule

module m_74244(input [20:1] i, output [20:1] o);
  wire [3:0] x, y;
  assign #(1, 1, 3) x = i[1] ? 4'bz : {i[8], i[6], i[4], i[2]};
  assign #(1, 1, 3) y = i[19] ? 4'bz : {i[17], i[15], i[13], i[11]};
  assign {o[12], o[14], o[16], o[18]} = x;
  assign {o[3], o[5], o[7], o[9]} = y;
endmodule

module m_74541(input [20:1] i, output [20:1] o);
  wire [7:0] y;
  assign #(1, 1, 3) y = (i[1] || i[19]) ? 8'bz : i[9:2];
  assign {o[11], o[12], o[13], o[14], o[15], o[16], o[17], o[18]} = y;
endmodule

module m_74138(input [16:1] i, output [16:1] o);
  wire [7:0] y;
  assign #1 y = (i[6] && !i[4] && !i[5]) ? ~(8'd1 << {i[3], i[2], i[1]}) : 8'hff;
  assign {o[7], o[9], o[10], o[11], o[12], o[13], o[14], o[15]} = y;
endmodule

module m_74139(input [16:1] i, output [16:1] o);
  wire [3:0] x, y;
  assign #1 x = i[1] ? 4'hf : ~(4'd1 << {i[3], i[2]});
  assign #1 y = i[15] ? 4'hf : ~(4'd1 << {i[13], i[14]});
  assign {o[7], o[6], o[5], o[4]} = x;
  assign {o[9], o[10], o[11], o[12]} = y;
endmodule

module m_74157(input [16:1] i, output [16:1] o);
  wire [3:0] y;
  assign #1 y = i[15] ? 4'd0 : i[1] ? {i[13], i[10], i[6], i[3]} : {i[14], i[11], i[5], i[2]};
  assign {o[12], o[9], o[7], o[4]} = y;
endmodule

module m_7432(input [14:1] i, output [14:1] o);
  wire [3:0] y;
  assign #1 y = {i[12] | i[13], i[9] | i[10], i[4] | i[5], i[1] | i[2]};
  assign {o[11], o[8], o[6], o[3]} = y;
endmodule

module m_7400(input [14:1] i, output [14:1] o);
  wire [3:0] y;
  assign #1 y = ~{i[12] & i[13], i[9] & i[10], i[4] & i[5], i[1] & i[2]};
  assign {o[11], o[8], o[6], o[3]} = y;
endmodule

module m_7404(input [14:1] i, output [14:1] o);
  wire [5:0] y;
  assign #1 y = ~{i[13], i[11], i[9], i[5], i[3], i[1]};
  assign {o[12], o[10], o[8], o[6], o[4], o[2]} = y;
endmodule

module m_7474(input [14:1] i, output [14:1] o);
  reg q1 = 0, q2 = 0;
  always @(posedge i[3] or negedge i[1] or negedge i[4])
    if (!i[1]) q1 <= #1 0; else if (!i[4]) q1 <= #1 1; else q1 <= #1 i[2];
  always @(posedge i[11] or negedge i[13] or negedge i[10])
    if (!i[13]) q2 <= #1 0; else if (!i[10]) q2 <= #1 1; else q2 <= #1 i[12];
  assign {o[5], o[6], o[9], o[8]} = {q1, !q1, q2, !q2};
endmodule

// The tide recorder's gate array: row, column and strobes for the record RAM at A19 = 1.
module m_TRGA1(input [48:1] i, output [48:1] o);
  wire [19:1] a = {i[41:37], i[16:3]};
  wire selected = !i[32] && a[19];
  wire column, cas;
  wire [8:0] ma;
  assign #(4, 1) column = selected;
  assign #(7, 1) cas = selected;
  assign #1 ma = column ? a[18:10] : a[9:1];
  assign #1 o[27] = !selected;
  assign #1 o[28] = !(cas && !i[33]);
  assign #1 o[29] = !(cas && !i[34]);
  assign #1 o[30] = !(selected && !i[35]);
  assign o[26:18] = ma;
  assign #1 o[36] = i[32] ? 1'bz : 1'b0;
endmodule

// Something that makes a fast clock, behind a connector's pin 1.
module m_CLOCK(input [5:1] i, output [5:1] o);
  reg clock = 0;
  always #2 clock = ~clock;
  assign o[1] = clock;
endmodule

// ---- bus masters: tasks that the test bench calls.  Address in bytes. ----
module m_68000(input [64:1] i, output [64:1] o);
  reg [23:1] a = 0;
  reg [15:0] d = 0;
  reg as_n = 1, ds_n = 1, rw = 1, drive = 0;
  wire [15:0] in = {i[54], i[55], i[56], i[57], i[58], i[59], i[60], i[61], i[62], i[63], i[64], i[1], i[2], i[3], i[4], i[5]};
  assign {o[54], o[55], o[56], o[57], o[58], o[59], o[60], o[61], o[62], o[63], o[64], o[1], o[2], o[3], o[4], o[5]} =
    drive ? d : 16'bz;
  assign o[48:29] = a[20:1];
  assign o[52:50] = a[23:21];
  assign {o[6], o[7], o[8], o[9]} = {as_n, ds_n, ds_n, rw};
  task write(input [31:0] at, input [15:0] v); begin
    a = at[23:1]; rw = 0; d = v;
    #4 as_n = 0; drive = 1;
    #3 ds_n = 0;
    #14 ds_n = 1; as_n = 1;
    #4 drive = 0; rw = 1;
    #4;
  end endtask
  task read(input [31:0] at, output [15:0] v); begin
    a = at[23:1]; rw = 1;
    #4 as_n = 0; ds_n = 0;
    #17 v = in; ds_n = 1; as_n = 1;
    #8;
  end endtask
endmodule

module m_Z80(input [40:1] i, output [40:1] o);
  reg [15:0] a = 0;
  reg [7:0] d = 0;
  reg mreq_n = 1, rd_n = 1, wr_n = 1, drive = 0;
  wire [7:0] in = {i[13], i[10], i[9], i[7], i[8], i[12], i[15], i[14]};
  assign {o[13], o[10], o[9], o[7], o[8], o[12], o[15], o[14]} = drive ? d : 8'bz;
  assign o[40:30] = a[10:0];
  assign o[5:1] = a[15:11];
  assign {o[19], o[20], o[21], o[22], o[28], o[27]} = {mreq_n, 1'b1, rd_n, wr_n, 1'b1, 1'b1};
  task write(input [31:0] at, input [15:0] v); begin
    a = at[15:0]; d = v[7:0];
    #4 mreq_n = 0; drive = 1;
    #3 wr_n = 0;
    #10 wr_n = 1;
    #4 mreq_n = 1;
    #4 drive = 0;
    #4;
  end endtask
  task read(input [31:0] at, output [15:0] v); begin
    a = at[15:0];
    #4 mreq_n = 0; rd_n = 0;
    #14 v = {8'd0, in}; rd_n = 1; mreq_n = 1;
    #6;
  end endtask
endmodule

module m_6502(input [40:1] i, output [40:1] o);
  reg [15:0] a = 0;
  reg [7:0] d = 0;
  reg phi2 = 0, rw = 1, drive = 0;
  wire [7:0] in = {i[26], i[27], i[28], i[29], i[30], i[31], i[32], i[33]};
  assign {o[26], o[27], o[28], o[29], o[30], o[31], o[32], o[33]} = drive ? d : 8'bz;
  assign o[20:9] = a[11:0];
  assign o[25:22] = a[15:12];
  assign {o[34], o[39]} = {rw, phi2};
  task write(input [31:0] at, input [15:0] v); begin
    a = at[15:0]; d = v[7:0]; rw = 0;
    #5 phi2 = 1; drive = 1;
    #20 phi2 = 0;
    #4 drive = 0; rw = 1;
    #3;
  end endtask
  task read(input [31:0] at, output [15:0] v); begin
    a = at[15:0]; rw = 1;
    #5 phi2 = 1;
    #20 v = {8'd0, in}; phi2 = 0;
    #7;
  end endtask
endmodule
