// `platter frames` and `platter plain` as a person runs them.
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <filesystem>
#include <sstream>
#include <thread>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "core/charset.h"
#include "framing/sector_code.h"
#include "support/survey.h"
#include "writers/demo_images.h"

namespace platter::test {
namespace {

using Json = nlohmann::json;
using Bytes = std::vector<std::byte>;

RunResult platter(const std::string& arguments) {
  return run(std::string(PLATTER_PROGRAM) + " " + arguments);
}

Json document(const std::string& arguments, int status) {
  const RunResult result = platter(arguments);
  CAPTURE(arguments, result.out, result.err);
  REQUIRE(result.status == status);
  return Json::parse(result.out);
}

// A directory with the demo's install disc, plain and in frames.
class Bench {
 public:
  Bench() : plain_(fixtures::demo_install_disc()) {
    write_file(file("disc.iso"), plain_);
    const RunResult made = platter("frames " + file("disc.iso") + " --framed " + file("disc.bin"));
    CAPTURE(made.err);
    REQUIRE(made.status == 0);
    framed_ = read_file(file("disc.bin"));
  }
  [[nodiscard]] std::string file(const std::string& name) const { return scratch_.file(name); }
  [[nodiscard]] const Bytes& plain() const { return plain_; }
  [[nodiscard]] const Bytes& framed() const { return framed_; }
  [[nodiscard]] std::size_t frames() const { return plain_.size() / 2048; }
  /// Writes a changed copy of the framed disc and returns its path.
  template <typename Change>
  std::string changed(const std::string& name, Change change) const {
    Bytes bytes = framed_;
    change(bytes);
    write_file(file(name), bytes);
    return file(name);
  }
  /// What is in the directory beside files with these names.
  [[nodiscard]] std::size_t strangers() const {
    std::size_t count = 0;
    for (const auto& entry : std::filesystem::directory_iterator(scratch_.path())) {
      count += entry.path().filename().string().rfind(".platter-", 0) == 0 ? 1U : 0U;
    }
    return count;
  }

 private:
  TemporaryDirectory scratch_;
  Bytes plain_;
  Bytes framed_;
};

std::ptrdiff_t at(std::size_t frame, std::size_t offset = 0) {
  return static_cast<std::ptrdiff_t>(frame * 2352 + offset);
}

TEST_CASE("plain to frames and back is the same, byte for byte") {
  const Bench bench;
  REQUIRE(bench.framed().size() == bench.frames() * 2352);
  const Json report = document("frames " + bench.file("disc.bin") + " --json", 0);
  CHECK(report.at("schema") == "platter.frames/1");
  CHECK(report.at("frames") == bench.frames());
  CHECK(report.at("frame_bytes") == 2352);
  CHECK(report.at("modes") == Json{{"mode1", bench.frames()}});
  for (const char* count : {"edc_bad", "ecc_bad", "correctable", "address_bad"}) {
    CHECK(report.at(count) == 0);
  }
  CHECK(report.at("findings").empty());
  CHECK(report.at("first_address") == "00:02:00");
  const RunResult taken =
      platter("frames " + bench.file("disc.bin") + " --plain " + bench.file("again.iso"));
  CHECK(taken.status == 0);
  CHECK(taken.out.find("Sound") != std::string::npos);
  CHECK(read_file(bench.file("again.iso")) == bench.plain());
  CHECK(bench.strangers() == 0);

  const Json survey = document("inspect " + bench.file("disc.bin") + " --json", 0);
  CHECK(survey.at("layers").at(0).at("id") == "frames-2352");
  CHECK(survey.at("layers").at(0).at("kind") == "framing");
  const Json straight = document("inspect " + bench.file("disc.iso") + " --json", 0);
  CHECK(survey.at("layers").at(0).at("layers").size() == straight.at("layers").size());
  CHECK(survey.at("findings").at(0).at("code") == "raw-frames");
}

TEST_CASE(
    "a bad frame inside a file is named with the file, and its files are read through frames") {
  const Bench bench;
  const RunResult listed = platter("files --json " + bench.file("disc.bin") + " kernels/corvid340");
  REQUIRE(listed.status == 0);
  const Json file = Json::parse(listed.out);
  CHECK(file.at("layer") == "frames-2352/iso9660");
  const std::uint64_t frame = file.at("extents").at(0).at(0).get<std::uint64_t>() / 2048 + 3;
  const std::string path = bench.changed("file.bin", [&](Bytes& bytes) {
    bytes[static_cast<std::size_t>(at(frame, 100))] ^= std::byte{0x01};
  });
  const Json checked = document("frames " + path + " --json", 1);
  CHECK(checked.at("bad").at(0).at("belongs_to") ==
        "file kernels/corvid340 of frames-2352/iso9660");
  CHECK(checked.at("findings").at(0).at("message").get<std::string>().find("kernels/corvid340") !=
        std::string::npos);
  const std::string out = bench.file("out");
  REQUIRE(platter("extract " + bench.file("disc.bin") + " --to " + out).status == 0);
  REQUIRE(platter("extract " + bench.file("disc.iso") + " --to " + out + "-plain").status == 0);
  CHECK(read_file(out + "/kernels/corvid340") == read_file(out + "-plain/kernels/corvid340"));
}

TEST_CASE("a wrong byte is found, named with what it belongs to, and corrected") {
  const Bench bench;
  const std::string path = bench.changed("one.bin", [](Bytes& bytes) {
    bytes[static_cast<std::size_t>(at(16, 300))] ^= std::byte{0x10};  // in the first descriptor
  });
  const Json checked = document("frames " + path + " --json", 1);
  CHECK(checked.at("edc_bad") == 1);
  CHECK(checked.at("ecc_bad") == 1);
  CHECK(checked.at("correctable") == 1);
  CHECK(checked.at("findings").at(0).at("code") == "frame-edc");
  CHECK(checked.at("findings").at(0).at("severity") == "fault");
  CHECK(checked.at("findings").at(0).at("start") == 16 * 2352);
  CHECK(checked.at("findings").at(0).at("layer") == "frames-2352");
  const Json& bad = checked.at("bad").at(0);
  CHECK(bad.at("first_frame") == 16);
  CHECK(bad.at("plain_start") == 32768);
  CHECK(bad.at("address") == "00:02:16");
  CHECK(bad.at("belongs_to").get<std::string>().find("iso9660") != std::string::npos);
  CHECK(bad.at("wrong") == Json::array({"edc", "ecc"}));

  const Json mended =
      document("frames " + path + " --json --repair --plain " + bench.file("mended.iso"), 0);
  CHECK(read_file(bench.file("mended.iso")) == bench.plain());
  const Json& change = mended.at("repairs").at(0).at("changes").at(0);
  CHECK(change.at("start") == at(16, 300));
  CHECK(change.at("before") != change.at("after"));
  CHECK(mended.at("findings").at(0).at("severity") == "caution");
  CHECK(mended.at("bad").at(0).at("plain") == "corrected");
  // Without leave to correct, the wrong byte is in the plain image, and said.
  const Json stored = document("frames " + path + " --json --plain " + bench.file("stored.iso"), 1);
  CHECK(stored.at("bad").at(0).at("plain") == "as stored");
  CHECK(read_file(bench.file("stored.iso")) != bench.plain());
  CHECK(read_file(path) != bench.framed());  // the image itself is never touched
  const RunResult words = platter("frames " + path + " --repair");
  CHECK(words.status == 1);
  CHECK(words.out.find("37,932:") != std::string::npos);  // 16 * 2352 + 300
}

TEST_CASE("a frame beyond correction is zeros in the plain image, and a fault") {
  const Bench bench;
  const std::string path = bench.changed("bad.bin", [](Bytes& bytes) {
    for (std::size_t i = 100; i < 1900; ++i) {
      bytes[static_cast<std::size_t>(at(18, i))] ^= static_cast<std::byte>(1 + i % 255);
    }
  });
  const Json report =
      document("frames " + path + " --json --repair --plain " + bench.file("out.iso"), 1);
  CHECK(report.at("edc_bad") == 1);
  CHECK(report.at("correctable") == 0);
  CHECK(report.at("not_correctable") == 1);
  CHECK(report.at("bad").at(0).at("plain") == "zeros");
  CHECK(report.at("blocks").at(0) == Json{{"start", 18 * 2048},
                                          {"bytes", 2048},
                                          {"state", "damaged"},
                                          {"note", report.at("bad").at(0).at("belongs_to")}});
  Bytes expected = bench.plain();
  std::fill_n(expected.begin() + std::ptrdiff_t{18} * 2048, 2048, std::byte{0});
  CHECK(read_file(bench.file("out.iso")) == expected);
}

TEST_CASE("hostile and damaged dumps are answered, whatever they are") {
  const Bench bench;
  const std::size_t middle = bench.frames() / 2;
  SECTION("a truncated last frame") {
    const std::string path =
        bench.changed("cut.bin", [](Bytes& bytes) { bytes.resize(bytes.size() - 1000); });
    const Json report = document("frames " + path + " --json --plain " + bench.file("o.iso"), 1);
    CHECK(report.at("frames") == bench.frames() - 1);
    CHECK(report.at("findings").at(0).at("code") == "frame-cut");
    CHECK(read_file(bench.file("o.iso")).size() == bench.plain().size() - 2048);
  }
  SECTION("a wrong sync in the middle") {
    const std::string path = bench.changed("sync.bin", [&](Bytes& bytes) {
      std::fill_n(bytes.begin() + at(middle), 12, std::byte{0x5A});
    });
    const Json report =
        document("frames " + path + " --json --repair --plain " + bench.file("o.iso"), 0);
    CHECK(report.at("sync_bad") == 1);
    CHECK(report.at("findings").at(0).at("code") == "frame-sync");
    CHECK(report.at("data_and_audio") == false);
    CHECK(read_file(bench.file("o.iso")) == bench.plain());
  }
  SECTION("frames are missing") {
    const std::string path = bench.changed("gap.bin", [&](Bytes& bytes) {
      bytes.erase(bytes.begin() + at(middle), bytes.begin() + at(middle + 3));
    });
    const Json report = document("frames " + path + " --json", 1);
    CHECK(report.at("address_bad") == 1);
    CHECK(report.at("edc_bad") == 0);
    CHECK(report.at("findings").at(0).at("code") == "frame-address");
    CHECK(report.at("findings").at(0).at("start") == at(middle));
  }
  SECTION("an address that goes back, and one that is no decimal") {
    const std::string path = bench.changed("back.bin", [&](Bytes& bytes) {
      bytes[static_cast<std::size_t>(at(middle, 14))] = std::byte{0x00};
      bytes[static_cast<std::size_t>(at(middle + 4, 14))] = std::byte{0xFF};
    });
    const Json report =
        document("frames " + path + " --json --repair --plain " + bench.file("o.iso"), 0);
    CHECK(report.at("address_bad") == 2);
    CHECK(report.at("correctable") == 2);
    CHECK(read_file(bench.file("o.iso")) == bench.plain());
  }
  SECTION("only syncs") {
    Bytes syncs;
    while (syncs.size() < 300'000) {
      syncs.insert(syncs.end(), sector_code::sync_pattern.begin(), sector_code::sync_pattern.end());
    }
    write_file(bench.file("syncs.bin"), syncs);
    const Json report = document("frames " + bench.file("syncs.bin") + " --json", 0);
    CHECK(report.at("frames") == 0);
    CHECK(document("inspect --json " + bench.file("syncs.bin"), 0).at("layers").empty());
  }
}

TEST_CASE("a disc with audio behind its data is said to be one") {
  const Bench bench;
  const std::string path = bench.changed("mixed.bin", [](Bytes& bytes) {
    std::uint32_t state = 1;
    for (std::size_t i = 0; i < std::size_t{400} * 2352; ++i) {
      state = state * 1664525U + 1013904223U;
      bytes.push_back(static_cast<std::byte>(state >> 24U));
    }
  });
  const Json report = document("frames " + path + " --json --plain " + bench.file("o.iso"), 0);
  CHECK(report.at("modes").at("audio") == 400);
  CHECK(report.at("data_and_audio") == true);
  CHECK(report.at("runs").size() == 2);
  Bytes expected = bench.plain();
  expected.resize(expected.size() + std::size_t{400} * 2048);
  CHECK(read_file(bench.file("o.iso")) == expected);
  CHECK(platter("frames " + path).out.find("data and audio") != std::string::npos);
  CHECK(platter("inspect " + path).out.find("data and audio") != std::string::npos);
}

TEST_CASE("platter plain undoes containers, frames and swaps") {
  const Bench bench;
  Bytes swapped = bench.plain();
  for (std::size_t i = 0; i + 1 < swapped.size(); i += 2)
    std::swap(swapped[i], swapped[i + 1]);
  write_file(bench.file("swapped.img"), swapped);
  REQUIRE(run("gzip -k " + bench.file("swapped.img") + " " + bench.file("disc.bin")).status == 0);
  const auto undone = [&](const std::string& name, const Json& framings) {
    const Json report =
        document("plain " + bench.file(name) + " --to " + bench.file(name + ".out") + " --json", 0);
    CHECK(report.at("schema") == "platter.plain/1");
    CHECK(report.at("undone") == framings);
    CHECK(read_file(bench.file(name + ".out")) == bench.plain());
  };
  undone("swapped.img", {"swap16"});
  undone("swapped.img.gz", {"swap16"});
  undone("disc.bin", {"frames-2352"});
  undone("disc.bin.gz", {"frames-2352"});
  undone("disc.iso", Json::array());
  CHECK(document("inspect --json " + bench.file("swapped.img"), 0).at("layers").at(0).at("id") ==
        "swap16");
  // Bad frames do not pass silently here either.
  const std::string bad = bench.changed(
      "bad.bin", [](Bytes& bytes) { bytes[static_cast<std::size_t>(at(5, 77))] ^= std::byte{1}; });
  const Json report = document("plain " + bad + " --json --to " + bench.file("bad.out"), 1);
  CHECK(report.at("findings").at(0).at("code") == "frame-edc");
}

TEST_CASE("files are not overwritten unasked, the image never, and nothing half-written stays") {
  const Bench bench;
  const std::string frames = "frames " + bench.file("disc.bin");
  const std::string out = bench.file("there.iso");
  write_file(out, {std::byte{1}});
  CHECK(platter(frames + " --plain " + out).status == 3);
  CHECK(read_file(out) == Bytes{std::byte{1}});
  CHECK(platter(frames + " --plain " + out + " --force").status == 0);
  CHECK(read_file(out) == bench.plain());
  for (const std::string& own : {bench.file("disc.bin"), bench.file("link")}) {
    std::error_code ignored;
    std::filesystem::create_symlink(bench.file("disc.bin"), bench.file("link"), ignored);
    const RunResult refused = platter(frames + " --force --plain " + own);
    CHECK(refused.status == 3);
    CHECK(refused.err.find("image itself") != std::string::npos);
  }
  CHECK(platter("plain - --force --to " + bench.file("disc.bin") + " < " + bench.file("disc.bin"))
            .status == 3);
  CHECK(read_file(bench.file("disc.bin")) == bench.framed());
  CHECK(platter(frames + " --plain " + bench.file("no/such/dir/x")).status == 3);
  CHECK(platter(frames + " --plain /dev/full --force").status == 3);
  CHECK(bench.strangers() == 0);
}

TEST_CASE("an interruption leaves nothing behind") {
  const Bench bench;
  // Large enough to be at work when the signal comes.
  const std::string big = bench.file("big.bin");
  {
    Bytes bytes = bench.framed();
    write_file(big, bytes);
    std::filesystem::resize_file(big, std::uint64_t{2} << 30U);  // a hole: frames without sync
  }
  const std::string out = bench.file("big.iso");
  const pid_t child = fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    const std::string null = "/dev/null";
    if (std::freopen(null.c_str(), "w", stdout) == nullptr) _exit(99);
    if (std::freopen(null.c_str(), "w", stderr) == nullptr) _exit(99);
    execl(PLATTER_PROGRAM, "platter", "frames", big.c_str(), "--jobs", "1", "--plain", out.c_str(),
          static_cast<char*>(nullptr));
    _exit(98);
  }
  // Wait until its temporary file is there.
  for (int i = 0; i < 3000 && bench.strangers() == 0; ++i) {
    std::this_thread::sleep_for(std::chrono::milliseconds(1));
  }
  CHECK(bench.strangers() == 1);
  kill(child, SIGINT);
  int status = 0;
  REQUIRE(waitpid(child, &status, 0) == child);
  REQUIRE(WIFEXITED(status));
  CHECK(WEXITSTATUS(status) == 130);
  CHECK(bench.strangers() == 0);
  CHECK_FALSE(std::filesystem::exists(out));
}

TEST_CASE("frames that make no sense for an image are refused") {
  const Bench bench;
  CHECK(platter("frames " + bench.file("disc.iso")).status == 0);
  CHECK(platter("frames " + bench.file("disc.iso")).out.find("No optical frames") !=
        std::string::npos);
  CHECK(platter("frames " + bench.file("disc.iso") + " --plain " + bench.file("x")).status == 2);
  CHECK(platter("frames " + bench.file("disc.bin") + " --framed " + bench.file("x")).status == 2);
  CHECK(platter("frames " + bench.file("disc.bin") + " --jobs 0").status == 2);
  CHECK(platter("frames " + bench.file("disc.bin") + " --plain x --framed y").status == 2);
  CHECK(platter("plain " + bench.file("disc.bin")).status == 2);
  CHECK(platter("frames /no/such/file").status == 3);
  CHECK_FALSE(std::filesystem::exists(bench.file("x")));
  CHECK(document("frames --json --jobs 1 " + bench.file("disc.bin"), 0) ==
        document("frames --json --jobs 2 " + bench.file("disc.bin"), 0));
}

TEST_CASE("the words of frames keep to 80 columns") {
  const Bench bench;
  const std::string path = bench.changed("many.bin", [](Bytes& bytes) {
    for (std::size_t frame = 3; frame < 40; frame += 5) {
      for (std::size_t i = 0; i < frame * 3; ++i) {
        bytes[static_cast<std::size_t>(at(frame, 40 + 5 * i))] ^= std::byte{0x42};
      }
    }
  });
  std::istringstream lines(platter("frames " + path + " --repair").out);
  std::string line;
  std::getline(lines, line);  // the path as the person gave it
  while (std::getline(lines, line)) {
    CAPTURE(line);
    CHECK(columns_of(line) <= 80);
  }
}

}  // namespace
}  // namespace platter::test
