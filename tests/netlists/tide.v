// SPDX-License-Identifier: MIT
// A small hierarchical design: the tide recorder's address latch and chip select.
module bit_latch (input d, input en, output q);
  wire keep;
  assign keep = ~(en & ~d);
  assign q = en ? d & keep : keep & d;
endmodule

module latch4 (input [3:0] d, input en, output [3:0] q);
  bit_latch b0 (.d(d[0]), .en(en), .q(q[0]));
  bit_latch b1 (.d(d[1]), .en(en), .q(q[1]));
  bit_latch b2 (.d(d[2]), .en(en), .q(q[2]));
  bit_latch b3 (.d(d[3]), .en(en), .q(q[3]));
endmodule

module tide (input [7:0] ad, input ale, input rd, output [0:7] a, output cs);
  wire [7:0] latched;
  latch4 low (.d(ad[3:0]), .en(ale), .q(latched[3:0]));
  latch4 high (.d(ad[7:4]), .en(ale), .q(latched[7:4]));
  assign a = latched;
  assign cs = ~(latched[7] & latched[6] & ~rd);
endmodule
