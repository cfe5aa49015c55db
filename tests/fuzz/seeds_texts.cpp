#include "fuzz/seeds.h"
#include "plan/block_map.h"
#include "plan/receipt.h"

namespace platter::fuzz {
namespace {

constexpr std::string_view kPlan = R"(# An invented card.
[card]
path = "card.img"
size = "7580 MiB"
align = "4 MiB"
bus = "wide"
initiator_id = 7

[[region]]
name = "system disk"
device = "disk"
bus_id = 0
start = 2048
size = "1 GiB"
geometry = { cylinders = 2080, heads = 16, sectors_per_track = 63 }
image = "system.img"
machine = "sparc"
label = "sun"

[[region]]
name = "install disc"
device = "optical"
size = "700 MiB"
align = "4 MiB"
block_bytes = 2048
image = "discs.zip::install.iso"
)";

constexpr std::string_view kShortPlan =
    "card = { csd = '400e00325b5900003b377f800a404000' }\n"
    "region = [ { name = 'a', device = 'disk', start = 0x10, size = 64,\n"
    "             geometry = { heads = 2, sectors_per_track = 8 } },\n"
    "           { name = 'b', device = 'disk', image = 'b.img' } ]\n";

constexpr std::string_view kTexts[] = {
    "plain",
    "M\xC3\xBCller",
    "\x1B[31mred",
    "\xE2\x80\xAEtxt.exe",
    "100%",
    "\xED\xA0\x80 surrogate",
    "\xF4\x90\x80\x80",
    std::string_view("\0n\0a\0m", 6),
    "\xD8\x3D\xDE\x00",
    "a\\\"b\n\t",
};

constexpr std::string_view kWords[] = {
    "usr/bin/*\nusr/bin/ls",
    "**/[a-z]*[!0-9]?.c\na/b/c/d/main7x.c",
    "a\\*b\na*b",
    "[[:alpha:]-]x/**/y\n-x/1/2/y",
    "1.5 GiB",
    "0x10 B",
    "2048+1GiB",
    "1024/16/63",
    "1024x16x63",
    "400e00325b5900003b377f800a404000",
    "007f00325b5a83d3f6dbff9f16804093",
};

}  // namespace

void write_text_seeds(SeedWriter& writer) {
  writer.add_text("plan_fuzz", "whole", kPlan);
  writer.add_text("plan_fuzz", "short", kShortPlan);
  writer.add_text("plan_fuzz", "wrong", "[card]\nsize = -1\n[[region]]\nnames = 'x'\n");

  plan::Receipt receipt;
  receipt.region = "system \"disk\"";
  receipt.card = "/dev/card";
  receipt.place = {1048576, 1073741824};
  receipt.image = "system.img";
  receipt.image_bytes = 671088640;
  receipt.image_stamp = "1-2-3";
  receipt.sha256 = std::string(64, 'a');
  receipt.zero_bytes = 7;
  receipt.tool = "platter 1";
  receipt.time = 1000000000;
  writer.add_text("receipt_fuzz", "receipt", plan::receipt_text(receipt));
  plan::BlockMap map;
  map.paint({0, 2048, plan::BlockState::gap, ""});
  map.paint({2048, 63, plan::BlockState::region, "a\\b\n\x01"});
  writer.add_text("receipt_fuzz", "block map", plan::write_block_map(map));

  for (const std::string_view text : kTexts)
    writer.add_text("text_fuzz", "text", text);
  for (const std::string_view words : kWords)
    writer.add_text("words_fuzz", "words", words);
}

}  // namespace platter::fuzz
