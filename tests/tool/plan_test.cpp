// Planning a card, placing images on it and verifying them, as a person does it.
#include <fcntl.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <random>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <spawn.h>

#include "tool/program.h"

extern char** environ;

namespace platter::test {
namespace {

using Json = nlohmann::json;

constexpr std::uint64_t kMiB = 1U << 20U;

std::vector<std::byte> noise(std::size_t bytes, unsigned seed) {
  std::mt19937 random(seed);
  std::vector<std::byte> content(bytes);
  for (std::byte& one : content)
    one = static_cast<std::byte>(random());
  return content;
}

// A card of 16 MiB with a disk of 8 MiB at 1 MiB and a disc of 4 MiB behind it.
class Scene {
 public:
  Scene() {
    system_ = noise(8 * kMiB, 1);
    disc_ = noise(3 * kMiB, 2);
    write_file(file("system.img"), system_);
    write_file(file("disc.iso"), disc_);
    card_ = std::vector<std::byte>(16 * kMiB, std::byte{0xA5});
    write_file(file("card.img"), card_);
    write_text(file("card.toml"),
               "[card]\npath = \"card.img\"\n"
               "[[region]]\nname = \"system disk\"\ndevice = \"disk\"\nbus_id = 0\n"
               "start = 2048\nimage = \"system.img\"\n"
               "[[region]]\nname = \"install disc\"\ndevice = \"optical\"\nbus_id = 3\n"
               "size = \"4 MiB\"\nblock_bytes = 2048\nimage = \"disc.iso\"\n");
  }
  [[nodiscard]] std::string file(const std::string& name) const { return scratch_.file(name); }
  [[nodiscard]] std::string plan() const { return shell_word(file("card.toml")); }

  /// The card as it must be when both images are placed.
  [[nodiscard]] std::vector<std::byte> expected() const {
    auto bytes = card_;
    std::ranges::copy(system_, bytes.begin() + kMiB);
    std::ranges::copy(disc_, bytes.begin() + 9 * kMiB);
    return bytes;
  }
  [[nodiscard]] std::vector<std::byte> now() const { return read_file(file("card.img")); }
  [[nodiscard]] const std::vector<std::byte>& before() const { return card_; }

 private:
  TemporaryDirectory scratch_;
  std::vector<std::byte> system_;
  std::vector<std::byte> disc_;
  std::vector<std::byte> card_;
};

TEST_CASE("plan shows the map and fills in what was left out") {
  const Scene scene;
  const RunResult result = platter("plan --json " + scene.plan());
  REQUIRE(result.status == 0);
  const Json plan = Json::parse(result.out);
  CHECK(plan.at("schema") == "platter.plan/1");
  CHECK(plan.at("card").at("bytes") == 16 * kMiB);
  const Json& disk = plan.at("regions").at(0);
  CHECK(disk.at("name") == "system disk");
  CHECK(disk.at("device") == "disk");
  CHECK(disk.at("bus_id") == 0);
  CHECK(disk.at("start") == kMiB);
  CHECK(disk.at("bytes") == 8 * kMiB);
  CHECK(disk.at("block_bytes") == 512);
  CHECK(disk.at("copy_command").get<std::string>().find("seek=1 ") != std::string::npos);
  CHECK(plan.at("regions").at(1).at("start") == 9 * kMiB);
  CHECK(platter("plan " + scene.plan()).out.find("install disc") != std::string::npos);
}

TEST_CASE("a plan that makes no sense names its line and column") {
  const Scene scene;
  write_text(scene.file("card.toml"), "[card]\npath = \"card.img\"\n[[region]]\nnane = \"x\"\n");
  const RunResult result = platter("plan " + scene.plan());
  CHECK(result.status == 2);
  CHECK(result.err.find("card.toml:4:") != std::string::npos);
  CHECK(result.err.find("name") != std::string::npos);  // the nearest known key
}

TEST_CASE("the copy lines give, byte for byte, what place gives") {
  const Scene by_line;
  const RunResult lines = platter("plan --commands " + by_line.plan());
  REQUIRE(lines.status == 0);
  const auto directory =
      shell_word(std::filesystem::path(by_line.file("x")).parent_path().string());
  REQUIRE(run("cd " + directory + " && " + lines.out).status == 0);
  CHECK(by_line.now() == by_line.expected());

  const Scene by_place;
  REQUIRE(platter("place --write " + by_place.plan()).status == 0);
  CHECK(by_place.now() == by_place.expected());
}

TEST_CASE("place without --write changes nothing and says what it would do") {
  const Scene scene;
  const RunResult result = platter("place " + scene.plan());
  CHECK(result.status == 0);
  CHECK(result.out.find("Nothing was written") != std::string::npos);
  CHECK(result.out.find("discharge") != std::string::npos);  // the cautions
  CHECK(scene.now() == scene.before());
}

TEST_CASE("place verifies, leaves receipts, and a second run writes nothing") {
  const Scene scene;
  const RunResult first = platter("place --write --json " + scene.plan());
  REQUIRE(first.status == 0);
  const Json placed = Json::parse(first.out);
  CHECK(placed.at("schema") == "platter.place/1");
  const Json& disk = placed.at("regions").at(0);
  CHECK(disk.at("verified") == true);
  CHECK(disk.at("written_bytes") == 8 * kMiB);
  // An outside reference for the digest: sha256sum.
  const std::string digest =
      run("sha256sum " + shell_word(scene.file("system.img"))).out.substr(0, 64);
  CHECK(disk.at("sha256") == digest);
  const Json receipt =
      Json::parse(run("cat " + shell_word(disk.at("receipt").get<std::string>())).out);
  CHECK(receipt.at("schema") == "platter.receipt/1");
  CHECK(receipt.dump().find(digest) != std::string::npos);

  const Json again =
      Json::parse(platter("place --write --changed-only --json " + scene.plan()).out);
  CHECK(again.at("regions").at(0).at("written_bytes") == 0);
  CHECK(again.at("regions").at(0).at("verified") == true);
}

TEST_CASE("verify finds a changed block, and compares with the receipt when the image is gone") {
  const Scene scene;
  REQUIRE(platter("place --write " + scene.plan()).status == 0);
  CHECK(platter("verify " + scene.plan()).status == 0);
  auto bytes = scene.now();
  bytes[kMiB + 100 * 512 + 7] ^= std::byte{1};
  bytes[kMiB + 101 * 512] ^= std::byte{1};
  write_file(scene.file("card.img"), bytes);
  const RunResult result = platter("verify --json " + scene.plan());
  CHECK(result.status == 1);
  const Json verified = Json::parse(result.out);
  CHECK(verified.at("schema") == "platter.verify/1");
  CHECK(verified.at("regions").at(0).at("equal") == false);
  CHECK(verified.at("regions").at(0).at("differing_blocks") == 2);
  CHECK(verified.at("regions").at(0).at("first_difference") == kMiB + 100 * 512 + 7);
  CHECK(verified.at("regions").at(1).at("equal") == true);

  std::filesystem::remove(scene.file("disc.iso"));
  CHECK(platter("verify --region 'install disc' " + scene.plan()).status == 0);
  bytes[9 * kMiB] ^= std::byte{1};
  write_file(scene.file("card.img"), bytes);
  CHECK(platter("verify --region 'install disc' " + scene.plan()).status == 1);
}

TEST_CASE("a region that holds a label is left alone until it is named") {
  const Scene scene;
  REQUIRE(run(std::string(PLATTER_DEMO_PROGRAM) + " " + shell_word(scene.file("demo"))).status ==
          0);
  auto bytes = scene.now();
  const auto disc = read_file(scene.file("demo/corvidos-install.iso"));
  std::ranges::copy(disc, bytes.begin() + kMiB);
  write_file(scene.file("card.img"), bytes);
  const RunResult refused = platter("place --write --json --region 'system disk' " + scene.plan());
  CHECK(refused.status == 1);
  CHECK(Json::parse(refused.out).at("findings").at(0).at("code") == "card-holds-data");
  CHECK(scene.now() == bytes);
  CHECK(platter("place --write --region 'system disk' --overwrite 'system disk' " + scene.plan())
            .status == 0);
  CHECK(platter("place --region nowhere " + scene.plan()).status == 2);
}

TEST_CASE("an image that is missing is named, with its own reason, and nothing is said to fit") {
  const Scene scene;
  std::filesystem::remove(scene.file("disc.iso"));
  const std::string reason =
      "platter: " + scene.file("disc.iso") + ": byte 0: No such file or directory\n";
  const RunResult planned = platter("plan " + scene.plan());
  CHECK(planned.status == 3);
  CHECK(planned.err == reason);
  CHECK(flowing(planned.out).find("an image could not be read") != std::string::npos);
  CHECK(planned.out.find("everything fits") == std::string::npos);
  const RunResult placed = platter("place " + scene.plan());
  CHECK(placed.status == 3);
  CHECK(placed.err == reason);
}

TEST_CASE("a card that is missing, too small or read-only is a clear error") {
  const Scene scene;
  std::filesystem::remove(scene.file("card.img"));
  const RunResult missing = platter("place --write " + scene.plan());
  CHECK(missing.status != 0);
  CHECK(missing.err.find("platter: ") == 0);
  CHECK_FALSE(std::filesystem::exists(scene.file("card.img")));

  write_file(scene.file("card.img"), std::vector<std::byte>(10 * kMiB));
  const RunResult small = platter("plan --json " + scene.plan());
  CHECK(small.status == 1);
  CHECK(small.out.find("region-beyond-card") != std::string::npos);
  CHECK(platter("place --write " + scene.plan()).status == 1);
}

// Starts a program and kills it after a while; true when it was still running.
bool killed_after(const std::vector<std::string>& words, unsigned microseconds) {
  std::vector<std::string> copy = words;
  std::vector<char*> arguments;
  for (std::string& word : copy)
    arguments.push_back(word.data());
  arguments.push_back(nullptr);
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
  posix_spawn_file_actions_addopen(&actions, STDERR_FILENO, "/dev/null", O_WRONLY, 0);
  pid_t child = 0;
  REQUIRE(posix_spawn(&child, arguments[0], &actions, nullptr, arguments.data(), environ) == 0);
  posix_spawn_file_actions_destroy(&actions);
  usleep(microseconds);
  kill(child, SIGKILL);
  int status = 0;
  waitpid(child, &status, 0);
  return WIFSIGNALED(status);
}

TEST_CASE("place killed at 200 moments never touches a byte outside, and finishes when run again") {
  const Scene scene;
  std::mt19937 random(5);
  std::size_t killed = 0;
  for (int i = 0; i < 200; ++i) {
    CAPTURE(i);
    write_file(scene.file("card.img"), scene.before());
    for (const auto& entry : std::filesystem::directory_iterator(
             std::filesystem::path(scene.file("x")).parent_path())) {
      if (entry.path().string().find(".receipt.") != std::string::npos) {
        std::filesystem::remove(entry.path());
      }
    }
    killed += killed_after({PLATTER_PROGRAM, "place", "--write", "--region", "system disk",
                            scene.file("card.toml")},
                           static_cast<unsigned>(random() % 40'000))
                  ? 1U
                  : 0U;
    const auto now = scene.now();
    const auto& before = scene.before();
    REQUIRE(now.size() == before.size());
    CHECK(std::equal(now.begin(), now.begin() + kMiB, before.begin()));
    CHECK(std::equal(now.begin() + 9 * kMiB, now.end(), before.begin() + 9 * kMiB));
    bool receipt = false;
    for (const auto& entry : std::filesystem::directory_iterator(
             std::filesystem::path(scene.file("x")).parent_path())) {
      receipt = receipt || entry.path().string().ends_with(".receipt.json");
    }
    if (receipt) {
      const auto expected = scene.expected();
      CHECK(std::equal(now.begin() + kMiB, now.begin() + 9 * kMiB, expected.begin() + kMiB));
    }
  }
  CHECK(killed > 20);
  REQUIRE(platter("place --write " + scene.plan()).status == 0);
  CHECK(scene.now() == scene.expected());
}

TEST_CASE("geometry answers in words and JSON") {
  const Json answer = Json::parse(platter("geometry --json 131072").out);
  CHECK(answer.at("schema") == "platter.geometry/1");
  CHECK(answer.at("blocks") == 131072);
  const Json& best = answer.at("choices").at(0);
  CHECK(best.at("cylinders").get<std::uint64_t>() * best.at("heads").get<std::uint64_t>() *
            best.at("sectors_per_track").get<std::uint64_t>() ==
        131072);
  CHECK(best.at("unused_blocks") == 0);
  CHECK(answer.at("findings").empty());
  CHECK_FALSE(answer.contains("like"));
  CHECK(platter("geometry 0x100 --label nothing").status == 2);
  CHECK(platter("geometry --json 0x100 --like nothing").status == 2);
  const RunResult none = platter("geometry --json 10 --heads 11");
  CHECK(none.status == 1);
  CHECK(Json::parse(none.out).at("findings").at(0).at("code") == "geometry-differs");
  // 2048 x 16 x 63 are 2064384 blocks, a cylinder has 1008.
  const Json like =
      Json::parse(platter("geometry --json 2097152 --like 2048/16/63").out).at("like");
  CHECK(like.at("blocks") == 2064384);
  CHECK(like.at("below").at("blocks") == 2096640);
  CHECK(like.at("above").at("blocks") == 2097648);
  CHECK(like.at("above").at("cylinders") == 2081);
  CHECK(platter("geometry 2097152 --like 2048/16/63").out.find("2048") != std::string::npos);
}

TEST_CASE("a proposed plan can be read back") {
  const Scene scene;
  const RunResult proposal =
      platter("plan --propose " + shell_word(scene.file("system.img")) +
              " --card 64MiB --card-path " + shell_word(scene.file("card.img")));
  REQUIRE(proposal.status == 0);
  write_text(scene.file("proposed.toml"), proposal.out);
  CHECK(platter("plan --json " + shell_word(scene.file("proposed.toml")))
            .out.find("platter.plan/1") != std::string::npos);
}

}  // namespace
}  // namespace platter::test
