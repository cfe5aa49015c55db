#include "plan/receipt.h"

#include <unistd.h>

#include <set>
#include <string>

#include <catch2/catch.hpp>

#include "support/files.h"

namespace {

using namespace platter;
using namespace platter::plan;
using platter::test::TemporaryDirectory;
using platter::test::write_file;

Receipt some_receipt() {
  Receipt receipt;
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
  return receipt;
}

TEST_CASE("receipt: what is written is read back") {
  const TemporaryDirectory scratch;
  CHECK(read_receipt(receipt_text(some_receipt())).value == some_receipt());
  store_receipt(scratch.file("r"), some_receipt());
  CHECK(load_receipt(scratch.file("r")) == some_receipt());
  CHECK(access(scratch.file("r.part").c_str(), F_OK) != 0);
  remove_receipt(scratch.file("r"));
  CHECK_FALSE(load_receipt(scratch.file("r")));
  remove_receipt(scratch.file("r"));  // gone already is as good
}

TEST_CASE("receipt: what is none") {
  const TemporaryDirectory scratch;
  CHECK_FALSE(read_receipt(""));
  CHECK_FALSE(read_receipt("{"));
  CHECK_FALSE(read_receipt("[]"));
  CHECK_FALSE(read_receipt("{\"schema\": \"platter.receipt/2\"}"));
  CHECK_FALSE(read_receipt("{\"schema\": \"platter.receipt/1\"}"));
  CHECK_FALSE(read_receipt("{\"schema\": 5}"));
  write_file(scratch.file("r"), {std::byte{'x'}});
  CHECK_THROWS_AS(load_receipt(scratch.file("r")), IoError);
  CHECK_THROWS_AS(store_receipt(scratch.file("no/folder"), some_receipt()), IoError);
}

TEST_CASE("receipt: names beside the plan, one for each region") {
  CHECK(receipt_path("dir/card.toml", "system disk") == "dir/card.system+disk.receipt.json");
  CHECK(receipt_path("card", "a/../b") == "card.a%2F%2E%2E%2Fb.receipt.json");
  std::set<std::string> paths;
  for (const char* name : {"a b", "a+b", "a%20b", "a%2Bb", "A B", "a.b", "a/b"}) {
    paths.insert(receipt_path("p", name));
  }
  CHECK(paths.size() == 7);
}

TEST_CASE("stamp: changes with the file") {
  const TemporaryDirectory scratch;
  CHECK(image_stamp(scratch.file("f")).empty());
  CHECK(image_stamp(scratch.path()).empty());
  write_file(scratch.file("f"), {std::byte{1}});
  const std::string first = image_stamp(scratch.file("f"));
  CHECK(first == image_stamp(scratch.file("f")));
  usleep(20000);  // the clock of file times is coarse
  write_file(scratch.file("f"), {std::byte{1}});
  CHECK(first != image_stamp(scratch.file("f")));
}

}  // namespace
