// SPDX-License-Identifier: MIT
// A bus with a static and a dynamic memory that works through random accesses, writes the capture and
// beside it, from its own knowledge, the table of cycles that a reader of the capture must find.
//   iverilog -g2005 -o bus cap_bus.v && vvp bus +vcd=bus.vcd +static=static.csv +dynamic=dynamic.csv +cycles=500
`timescale 1ns / 100ps
module cap_bus;
  reg [15:0] a = 0;
  reg rd_n = 1, wr_n = 1, lds_n = 1, uds_n = 1, wait_n = 1, clk = 0;
  reg [15:0] out = 0;
  reg drive = 0;
  reg [15:0] mem [0:65535];
  wire [15:0] d = drive ? out : 16'bz;
  assign #12 d = rd_n ? 16'bz : {uds_n ? 8'bz : mem[a][15:8], lds_n ? 8'bz : mem[a][7:0]};

  reg [7:0] ma = 0;
  reg ras_n = 1, cas_n = 1, we_n = 1, din = 0;
  reg [7:0] row;
  reg core [0:65535];
  reg dout = 1'bz;

  integer ft, fd, n, total, i, kind, waits;
  reg [31:0] r = 32'h2468ace1;
  real begun;
  reg [8*256-1:0] name;
  always #31.5 clk = ~clk;

  task roll;
    r = r * 1664525 + 1013904223;
  endtask

  // In tenths of a ns, printed as ns.
  task stamp(input integer f, input real from);
    $fwrite(f, "%0.1f,%0.1f,", from, $realtime);
  endtask

  task static_cycle;
    reg write;
    reg [1:0] lanes;
    begin
      roll; a = r[31:16] & 16'h800f;
      roll; write = r[30]; lanes = r[29:28] == 0 ? 2'b11 : r[29:28];
      roll; out = r[31:16];
      #20;
      begun = $realtime;
      uds_n = ~lanes[1]; lds_n = ~lanes[0];
      if (write) begin wr_n = 0; drive = 1; end else rd_n = 0;
      #15 waits = 0;
      roll; if (r[31:30] == 0) begin
        wait_n = 0;
        repeat (1 + r[29]) begin @(posedge clk) waits = waits + 1; end
        #3 wait_n = 1;
      end
      #50.3;
      stamp(ft, begun);
      if (write) begin
        if (lanes[1]) mem[a][15:8] = out[15:8];
        if (lanes[0]) mem[a][7:0] = out[7:0];
      end
      $fwrite(ft, "%0s,%h,", write ? "write" : "read", a);
      if (lanes[1]) $fwrite(ft, "%h", mem[a][15:8]); else $fwrite(ft, "xx");
      if (lanes[0]) $fwrite(ft, "%h", mem[a][7:0]); else $fwrite(ft, "xx");
      $fwrite(ft, ",,%h%h,%0d,\n", lanes[1] ? 8'hff : 8'h00, lanes[0] ? 8'hff : 8'h00, waits);
      rd_n = 1; wr_n = 1; uds_n = 1; lds_n = 1;
      #8 drive = 0;
    end
  endtask

  task open_row;
    begin
      roll; row = r[31:24]; ma = row;
      #10 begun = $realtime; ras_n = 0;
      #22 ma = r[23:16];
    end
  endtask

  task dynamic_cycle;
    reg was;
    begin
      roll; kind = r[31:29];
      case (kind)
        0: begin // row refresh
          roll; ma = r[31:24];
          #10 begun = $realtime; ras_n = 0;
          #80 stamp(fd, begun); $fwrite(fd, "row refresh,%hxx,,,,0,\n", ma);
          ras_n = 1;
        end
        1: begin // column before row
          #10 cas_n = 0;
          #12 begun = $realtime; ras_n = 0;
          #80 stamp(fd, begun); $fwrite(fd, "auto refresh,xxxx,,,,0,\n");
          ras_n = 1; #5 cas_n = 1;
        end
        2, 3: begin // early write
          open_row; din = r[8]; we_n = 0;
          #14 cas_n = 0; core[{row, ma}] = din;
          #40 stamp(fd, begun); $fwrite(fd, "write,%h%h,%b,,1,0,\n", row, ma, din);
          cas_n = 1; we_n = 1; #7 ras_n = 1;
        end
        4: begin // read-modify-write
          open_row;
          #14 cas_n = 0;
          #30 was = core[{row, ma}]; dout = was;
          #20 din = ~was; we_n = 0; core[{row, ma}] = din;
          #25 we_n = 1;
          #10 stamp(fd, begun); $fwrite(fd, "read-write,%h%h,%b,%b,1,0,\n", row, ma, was, din);
          cas_n = 1; ras_n = 1; #3 dout = 1'bz;
        end
        5: begin // page of three reads
          open_row;
          for (i = 0; i < 3; i = i + 1) begin
            #10 if (i) begun = $realtime;
            cas_n = 0;
            #20 dout = core[{row, ma}];
            #15 stamp(fd, begun); $fwrite(fd, "read,%h%h,%b,,1,0,\n", row, ma, core[{row, ma}]);
            cas_n = 1; #4 dout = 1'bz; ma = ma + 1;
          end
          #5 ras_n = 1;
        end
        default: begin // read
          open_row;
          #14 cas_n = 0;
          #30 dout = core[{row, ma}];
          #18 stamp(fd, begun); $fwrite(fd, "read,%h%h,%b,,1,0,\n", row, ma, core[{row, ma}]);
          cas_n = 1; #2 dout = 1'bz; #6 ras_n = 1;
        end
      endcase
      #25;
    end
  endtask

  initial begin
    for (i = 0; i < 65536; i = i + 1) begin mem[i] = i * 40503; core[i] = i ^ (i >> 5); end
    if (!$value$plusargs("cycles=%d", total)) total = 500;
    if ($value$plusargs("static=%s", name)) ft = $fopen(name);
    if ($value$plusargs("dynamic=%s", name)) fd = $fopen(name);
    if (!$value$plusargs("vcd=%s", name)) name = "bus.vcd";
    $dumpfile(name);
    $dumpvars(1, cap_bus);
    $fwrite(ft, "begin_ns,end_ns,kind,address,data,written,lanes,waits,remarks\n");
    $fwrite(fd, "begin_ns,end_ns,kind,address,data,written,lanes,waits,remarks\n");
    #100;
    for (n = 0; n < total; n = n + 1) begin static_cycle; #17; dynamic_cycle; end
    $fclose(ft); $fclose(fd);
    $finish;
  end
endmodule
