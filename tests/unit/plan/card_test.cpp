// The card with failures on cue: what the system answers is put in place of its own calls.
#include "plan/card.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <random>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "support/files.h"
#include "support/noise.h"
#include "unit/plan/faulty_calls.h"

namespace {

using namespace platter;
using namespace platter::plan;
using platter::test::FaultyCalls;
using platter::test::noise;
using platter::test::read_file;
using platter::test::TemporaryDirectory;
using platter::test::write_file;

constexpr CardAccess kWrite{true, false, 0};

// What an operation complains about, as "OFFSET: REASON"; "" when it does not.
template <typename Operation>
std::string complaint_of(Operation operation) {
  try {
    operation();
  } catch (const IoError& error) {
    return std::to_string(error.offset()) + ": " + error.reason();
  }
  return "";
}

std::vector<std::byte> bytes(std::size_t count, unsigned char value = 1) {
  return std::vector<std::byte>(count, std::byte{value});
}

TEST_CASE("card: reads and writes at a place, and knows its size") {
  const TemporaryDirectory scratch;
  std::mt19937 random(1);
  const auto content = noise(random, 5000);
  write_file(scratch.file("card"), content);
  Card card(scratch.file("card"), kWrite);
  CHECK(card.size() == 5000);
  CHECK_FALSE(card.is_device());
  std::vector<std::byte> found(100);
  card.read(4900, found);
  CHECK(std::equal(found.begin(), found.end(), content.begin() + 4900));
  card.write(10, bytes(20));
  card.sync();
  card.forget(0, 5000);
  card.read_back(10, std::span(found).first(20));
  CHECK(std::vector<std::byte>(found.begin(), found.begin() + 20) == bytes(20));
}

TEST_CASE("card: what cannot be opened says why") {
  const TemporaryDirectory scratch;
  const auto opening = [&](const std::string& path, CardAccess access) {
    return complaint_of([&] { const Card card(path, access); });
  };
  CHECK(opening(scratch.file("none"), kWrite) == "0: No such file or directory");
  CHECK(opening(scratch.path(), kWrite) == "0: is neither a regular file nor a block device");
  CHECK(opening("/dev/null", kWrite) == "0: is neither a regular file nor a block device");
  write_file(scratch.file("card"), bytes(512));
  const Card first(scratch.file("card"), kWrite);
  CHECK(opening(scratch.file("card"), kWrite) == "0: is in use by another copy of this program");
  CHECK(opening(scratch.file("card"), {}) == "");  // reading is nobody's harm
}

TEST_CASE("card: made only when asked to") {
  const TemporaryDirectory scratch;
  {
    const Card card(scratch.file("new"), {true, true, 12345});
    CHECK(card.size() == 12345);
  }
  CHECK(read_file(scratch.file("new")) == bytes(12345, 0));
  CHECK(complaint_of([&] {
          const Card card(scratch.file("huge"), {true, true, ~std::uint64_t{0}});
        }) != "");
  CHECK(access(scratch.file("huge").c_str(), F_OK) != 0);  // nothing half-made is left
  CHECK(complaint_of([&] {
          const Card card(scratch.file("no/folder"), {true, true, 1});
        }) == "0: No such file or directory");
}

TEST_CASE("card: interrupted and partial transfers are carried on") {
  const TemporaryDirectory scratch;
  write_file(scratch.file("card"), bytes(1000, 0));
  FaultyCalls calls;
  calls.most_per_call = 7;
  calls.interrupt_every = 3;
  Card card(scratch.file("card"), kWrite, calls);
  card.write(100, bytes(500));
  std::vector<std::byte> found(500);
  card.read(100, found);
  CHECK(found == bytes(500));
  auto wanted = bytes(1000, 0);
  std::fill_n(wanted.begin() + 100, 500, std::byte{1});
  CHECK(read_file(scratch.file("card")) == wanted);
}

TEST_CASE("card: the first byte that could not be written is named") {
  const TemporaryDirectory scratch;
  write_file(scratch.file("card"), bytes(1000, 0));
  FaultyCalls calls;
  calls.fail_writes_from = 250;
  for (const int error : {ENOSPC, EIO, EROFS}) {
    calls.error = error;
    Card card(scratch.file("card"), kWrite, calls);
    CHECK(complaint_of([&] { card.write(100, bytes(500)); }) ==
          "250: " + std::generic_category().message(error));
  }
  Card card(scratch.file("card"), kWrite, calls);
  calls.fail_writes_from = ~std::uint64_t{0};
  calls.fail_reads_from = 300;
  calls.error = EIO;
  std::vector<std::byte> found(500);
  CHECK(complaint_of([&] { card.read(100, found); }) == "300: Input/output error");
  calls.fail_sync = true;
  CHECK(complaint_of([&] { card.sync(); }) ==
        "0: what was written did not reach the medium: Input/output error");
}

TEST_CASE("card: one that became shorter is not made longer again") {
  const TemporaryDirectory scratch;
  write_file(scratch.file("card"), bytes(1000, 0));
  Card card(scratch.file("card"), kWrite);
  REQUIRE(truncate(scratch.file("card").c_str(), 600) == 0);
  CHECK(complaint_of([&] { card.write(550, bytes(100)); }) ==
        "600: the card ends at byte 600; it became shorter");
  CHECK(card.size() == 600);
  CHECK(read_file(scratch.file("card")) == bytes(600, 0));
  std::vector<std::byte> found(100);
  CHECK(complaint_of([&] { card.read(550, found); }) ==
        "600: the card ends here; it became shorter");
}

TEST_CASE("card: a descriptor that may only read cannot write") {
  const TemporaryDirectory scratch;
  write_file(scratch.file("card"), bytes(1000, 0));
  Card card(scratch.file("card"), {});
  CHECK(complaint_of([&] { card.write(0, bytes(10)); }) == "0: Bad file descriptor");
}

TEST_CASE("card: a limit of the system itself, not of a shim") {
  // RLIMIT_FSIZE makes write(2) fail with EFBIG; done in a child, because limits stay.
  const TemporaryDirectory scratch;
  write_file(scratch.file("card"), bytes(100000, 0));
  const int status = platter::test::run_in_child([&] {
    platter::test::limit_file_size(50000);
    Card card(scratch.file("card"), kWrite);
    const std::string complaint = complaint_of([&] { card.write(49000, bytes(2000)); });
    return complaint == "50000: File too large" ? 0 : 1;
  });
  CHECK(status == 0);
}

}  // namespace
