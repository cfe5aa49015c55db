// HFS against what shares no code with platter: volumes made by hformat and filled by hcopy
// (hfsutils), hybrid discs of genisoimage, both named by libblkid; and headers that are identified:
// XFS of mkfs.xfs, HFS+ of xorriso (their files: xfs_files_ and hfsplus_reference_test.cpp), and
// the typed superblocks, judged by libblkid.
#include <filesystem>
#include <fstream>

#include <catch2/catch.hpp>

#include "core/image.h"
#include "reference/blkid_probe.h"
#include "support/hexfile.h"
#include "unit/filesystem/fat_support.h"
#include "writers/hfs_writer.h"

namespace platter::test {
namespace {

Tree comparable(Tree tree) {
  return seen_as(std::move(tree), {.modes = false, .ids = false, .links = false, .times = false});
}

// Copies a tree with hfsutils, one directory after the other.
void fill(const std::string& home, const std::string& source) {
  namespace fs = std::filesystem;
  const std::string prefix = "export TZ=UTC HOME=" + shell_word(home) + " && ";
  std::vector<std::string> directories{""};
  for (const auto& entry : fs::recursive_directory_iterator(source)) {
    if (entry.is_directory()) directories.push_back(fs::relative(entry.path(), source).string());
  }
  std::sort(directories.begin(), directories.end());
  for (const std::string& directory : directories) {
    std::string on_volume = ":" + directory;
    std::replace(on_volume.begin(), on_volume.end(), '/', ':');
    if (!directory.empty()) must_run(prefix + "hmkdir " + shell_word(on_volume));
    std::string files;
    for (const auto& entry : fs::directory_iterator(source + "/" + directory)) {
      if (entry.is_regular_file()) files += " " + shell_word(entry.path().string());
    }
    if (!files.empty())
      must_run(prefix + "hcopy -r" + files + " " +
               shell_word(directory.empty() ? ":" : on_volume + ":"));
  }
}

TEST_CASE("HFS: volumes of hformat filled by hcopy hold the tree they were made from", "[hfs]") {
  struct Recipe {
    std::uint64_t mib;
    std::uint64_t largest;
    std::size_t entries;
  };
  for (const Recipe& recipe : {Recipe{2, 200'000, 60}, {40, 3'000'000, 700}}) {
    CAPTURE(recipe.mib);
    const TemporaryDirectory directory;
    const std::string image = directory.file("volume.img");
    const std::string source = directory.file("tree");
    make_tree(source, {.unit = 1024,
                       .largest = recipe.largest,
                       .entries = recipe.entries,
                       .longest_name = 31,
                       .symlinks = false,
                       .hard_links = false});
    write_file(image, std::vector<std::byte>(recipe.mib << 20U));
    const std::string home = directory.path();
    must_run("HOME=" + shell_word(home) + " hformat -l 'Blue Gannet' " + shell_word(image));
    must_run("HOME=" + shell_word(home) + " hmount " + shell_word(image));
    fill(home, source);
    must_run("HOME=" + shell_word(home) + " humount");

    const auto bytes = read_file(image);
    const auto found = claims_of("hfs", bytes);
    REQUIRE(found.size() == 1);
    const Claim& claim = found.front();
    CHECK(claim.strength == Strength::sane);
    CHECK(claim.findings.empty());
    CHECK(claim.bytes == bytes.size());
    BlkidProbe probe(image);
    REQUIRE(probe.safe());
    CHECK(probe.value("TYPE") == "hfs");
    CHECK(probe.value("LABEL") == claim.facts.words("volume_name"));

    const View view = view_of(bytes);
    const auto volume = open_volume("hfs", view);
    const Tree ours = comparable(tree_of_volume(*volume, view));
    CHECK(differences(ours, comparable(tree_of_directory(source))) == "");
    volume->check_records();
    for (const Finding& finding : volume->take_findings())
      FAIL_CHECK(finding.message);
    std::uint64_t files = 0;
    std::uint64_t directories = 0;
    std::uint64_t owned = 0;
    std::vector<Finding> findings;
    walk(
        *volume, volume->root(), "",
        [&](const FileVisit& visit) {
          ++(visit.attributes.type == NodeType::directory ? directories : files);
          // hcopy gives every file whole clumps; what each_extent maps lies inside them.
          owned += visit.attributes.bytes;
          CHECK(visit.attributes.modified.has_value());
          return Step::go_on;
        },
        findings);
    CHECK(claim.facts.number("files") == files);
    CHECK(claim.facts.number("directories") == directories);
    const Runs runs = runs_of(*volume);
    CHECK(runs.without_gap);
    CHECK(runs.end == bytes.size());
    CHECK(runs.used >= owned);
    CHECK(runs.free == claim.facts.number("free_bytes"));
    const Survey survey = survey_bytes(bytes);
    CHECK(survey.layers.size() == 1);
    CHECK(findings_of(survey) == "");
  }
}

TEST_CASE("HFS: resource forks and times as hfsutils writes them", "[hfs]") {
  const TemporaryDirectory directory;
  const std::string image = directory.file("volume.img");
  write_file(image, std::vector<std::byte>(2U << 20U));
  // The form that hcopy -m reads: header of 128 bytes, data fork, resource fork, each padded to 128
  // bytes.
  std::vector<std::byte> packed(128 + 128 + 384);
  const auto put = [&](std::size_t at, std::uint64_t value, std::size_t width) {
    encode_unsigned(std::span(packed).subspan(at, width), value, ByteOrder::big);
  };
  const std::string name = "Fork";
  put(1, name.size(), 1);
  for (std::size_t i = 0; i < name.size(); ++i)
    packed[2 + i] = static_cast<std::byte>(name[i]);
  put(65, 0x54455854, 4);
  put(69, 0x636F7276, 4);
  put(83, 5, 4);
  put(87, 300, 4);
  put(91, 0xB0000000, 4);
  put(95, 0xB0000010, 4);
  put(122, 129, 1);
  put(123, 129, 1);
  std::uint16_t crc = 0;  // CCITT polynomial over the first 124 bytes
  for (std::size_t i = 0; i < 124; ++i) {
    crc = static_cast<std::uint16_t>(crc ^ std::to_integer<unsigned>(packed[i]) << 8U);
    for (int bit = 0; bit < 8; ++bit) {
      crc = static_cast<std::uint16_t>((crc & 0x8000U) != 0 ? crc << 1U ^ 0x1021U : crc << 1U);
    }
  }
  put(124, crc, 2);
  for (std::size_t i = 0; i < 5; ++i)
    packed[128 + i] = std::byte{'d'};
  for (std::size_t i = 0; i < 300; ++i)
    packed[256 + i] = std::byte{'r'};
  write_file(directory.file("fork.bin"), packed);
  const std::string prefix = "export TZ=UTC HOME=" + shell_word(directory.path()) + " && ";
  must_run(prefix + "hformat -l Forks " + shell_word(image) + " && hmount " + shell_word(image));
  must_run(prefix + "hcopy -m " + shell_word(directory.file("fork.bin")) + " : && humount");
  const View view = view_of(read_file(image));
  const auto volume = open_volume("hfs", view);
  const Tree tree = tree_of_volume(*volume, view);
  REQUIRE(tree.size() == 2);
  CHECK(tree.at("Fork").bytes == 5);
  CHECK(tree.at("Fork.rsrc").bytes == 300);
  CHECK(tree.at("Fork").modified == 0xB0000010LL - 2082844800LL);
  std::string content;
  read_content(*volume, view, find_path(*volume, "Fork.rsrc")->node,
               [&](std::uint64_t, std::uint64_t, std::span<const std::byte> piece) {
                 for (const std::byte byte : piece)
                   content.push_back(static_cast<char>(byte));
                 return true;
               });
  CHECK(content == std::string(300, 'r'));
}

TEST_CASE("HFS: a volume of our writer is one to hfsutils too", "[hfs]") {
  const TemporaryDirectory directory;
  const std::string image = directory.file("volume.img");
  fixtures::HfsWriter writer({.blocks = 1700});  // hfsutils wants 800 KiB or more
  writer.add_directory("Folder").add_file("Folder/in pieces", {std::string(9 * 512, 'p'), 9});
  for (int i = 0; i < 30; ++i)
    writer.add_file("Folder/file " + std::to_string(i), {std::to_string(i)});
  write_file(image, writer.build());
  const std::string prefix = "export TZ=UTC HOME=" + shell_word(directory.path()) + " && ";
  must_run(prefix + "hmount " + shell_word(image));
  must_run(prefix + "hcopy -r ':Folder:in pieces' " + shell_word(directory.file("out")) +
           " && humount");
  CHECK(read_file(directory.file("out")) == std::vector<std::byte>(9 * 512, std::byte{'p'}));
}

TEST_CASE("HFS: the other side of a hybrid disc of genisoimage", "[hfs]") {
  const TemporaryDirectory directory;
  const std::string image = directory.file("disc.iso");
  const std::string source = directory.file("tree");
  make_tree(source, {.unit = 2048,
                     .largest = 200'000,
                     .entries = 100,
                     .longest_name = 31,
                     .symlinks = false,
                     .hard_links = false});
  must_run("genisoimage -quiet -D -hfs -no-desktop -hfs-volid 'Hybrid' -V HYBRID -o " +
           shell_word(image) + " " + shell_word(source));
  const auto bytes = read_file(image);
  const auto found = claims_of("hfs", bytes);
  REQUIRE(found.size() == 1);
  CHECK(found[0].findings.empty());
  BlkidProbe probe(image);
  REQUIRE(probe.only("hfs"));
  CHECK(probe.value("LABEL") == "Hybrid");
  CHECK(found[0].facts.words("volume_name") == "Hybrid");
  const View view = view_of(bytes);
  const auto volume = open_volume("hfs", view);
  CHECK(differences(comparable(tree_of_volume(*volume, view)),
                    comparable(tree_of_directory(source))) == "");
  volume->check_records();
  for (const Finding& finding : volume->take_findings())
    FAIL_CHECK(finding.message);
  CHECK(findings_of(survey_bytes(bytes)) == "");
}

TEST_CASE("XFS: volumes of mkfs.xfs", "[identified]") {
  for (const char* options :
       {"-m crc=0 -b size=4096", "-m crc=0 -b size=1024 -i size=512 -d agcount=4",
        "-m crc=0 -n size=8192 -d agcount=3", "-m crc=1"}) {
    CAPTURE(options);
    const TemporaryDirectory directory;
    const std::string image = directory.file("volume.img");
    must_run("truncate -s 320M " + shell_word(image) + " && mkfs.xfs -q -L gannet " + options +
             " " + shell_word(image));
    const View view(open_image(image).source);
    const auto found = find_format("xfs")->claims(view, {.image = view});
    REQUIRE(found.size() == 1);
    const Claim& claim = found.front();
    CHECK(claim.findings.empty());
    CHECK(claim.strength == Strength::sane);
    CHECK(claim.bytes == 320ULL << 20U);
    CHECK(claim.facts.number("version") == (std::string(options) == "-m crc=1" ? 5U : 4U));
    BlkidProbe probe(image);
    REQUIRE(probe.safe());
    CHECK(probe.value("TYPE") == "xfs");
    CHECK(probe.value("LABEL") == claim.facts.words("volume_name"));
    CHECK(probe.value("UUID") == claim.facts.words("uuid"));
  }
}

TEST_CASE("HFS+: the volume that xorriso puts beside ISO 9660", "[identified]") {
  const TemporaryDirectory directory;
  const std::string image = directory.file("disc.iso");
  const std::string source = directory.file("tree");
  make_tree(
      source,
      {.unit = 2048, .largest = 100'000, .entries = 20, .symlinks = false, .hard_links = false});
  must_run("xorriso -as mkisofs -quiet -hfsplus -V GANNET -o " + shell_word(image) + " " +
           shell_word(source));
  auto bytes = read_file(image);
  const Survey survey = survey_bytes(bytes);
  const Layer* volume = nullptr;
  for_each_layer(survey.layers, [&](const Layer& found) {
    if (found.format == "hfsplus" && found.kind == LayerKind::filesystem) volume = &found;
  });
  REQUIRE(volume != nullptr);
  // The probe looks at the start of a file only.
  bytes.erase(bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(volume->start));
  write_file(image, bytes);
  BlkidProbe probe(image);
  REQUIRE(probe.only("hfsplus"));
  CHECK(probe.value("LABEL") == volume->facts.words("volume_name"));
  std::uint64_t files = 0;
  for (const auto& [path, file] : tree_of_directory(source))
    files += file.type == "file" ? 1U : 0U;
  CHECK(volume->facts.number("files") == files);
}

TEST_CASE("the typed superblocks are what libblkid takes them for", "[identified]") {
  struct Known {
    const char* fixture;
    const char* type;
    const char* label;
  };
  for (const Known& known : {Known{"xfs/good", "xfs", "GANNET"},
                             {"hfsplus/good", "hfsplus", "Gannet"},
                             {"jfs/good-second", "jfs", "gannet"},
                             {"vxfs/good-little", "vxfs", ""},
                             {"hfs/hybrid", "hfs", "HVOL"},
                             {"fat12/good", "vfat", "GANNET"}}) {
    CAPTURE(known.fixture);
    const TemporaryDirectory directory;
    const std::string image = directory.file("image");
    auto bytes = hex_fixture(std::string("filesystem/") + known.fixture + ".hex");
    bytes.resize(16U << 20U);  // libblkid wants that much for a JFS
    write_file(image, bytes);
    BlkidProbe probe(image);
    REQUIRE(probe.only(known.type));
    CHECK(probe.value("TYPE") == known.type);
    if (*known.label != '\0') CHECK(probe.value("LABEL") == known.label);
  }
}

}  // namespace
}  // namespace platter::test
