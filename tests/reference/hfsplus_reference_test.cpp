// HFS+ against what shares no code with platter: the volume that xorriso (libisofs) puts beside an
// ISO 9660 one, compared with the tree that it was made from; and libblkid, which names the volumes
// of the fixture writer.
#include <filesystem>
#include <memory>

#include <blkid/blkid.h>
#include <catch2/catch.hpp>

#include "files/check.h"
#include "job/volumes.h"
#include "unit/filesystem/fat_support.h"
#include "writers/hfsplus_writer.h"

namespace platter::test {
namespace {

void must(const std::string& command) {
  const RunResult result = run(command + " 2>&1");
  CAPTURE(command, result.out);
  REQUIRE(result.status == 0);
}

std::string blkid_value(const std::string& path, const char* name) {
  const std::unique_ptr<std::remove_pointer_t<blkid_probe>, void (*)(blkid_probe)> probe(
      blkid_new_probe_from_filename(path.c_str()), blkid_free_probe);
  REQUIRE(probe != nullptr);
  blkid_probe_enable_superblocks(probe.get(), 1);
  blkid_probe_set_superblocks_flags(probe.get(), BLKID_SUBLKS_DEFAULT | BLKID_SUBLKS_VERSION);
  REQUIRE(blkid_do_safeprobe(probe.get()) == 0);
  const char* found = nullptr;
  return blkid_probe_lookup_value(probe.get(), name, &found, nullptr) == 0 ? found : "";
}

// A symbolic link has a whole block on such a disc, filled up with NULs.
Tree comparable(Tree tree) {
  for (auto& [path, file] : tree) {
    if (file.type == "symlink") file.bytes = file.target.size();
  }
  return seen_as(std::move(tree), {.links = false});
}

TEST_CASE("HFS+: the volume of xorriso holds the tree it was made from", "[hfsplus]") {
  const TemporaryDirectory directory;
  const std::string image = directory.file("disc.iso");
  const std::string source = directory.file("tree");
  make_tree(source, {.unit = 2048, .largest = 500'000, .entries = 400});
  must("cd " + shell_word(source) + " && echo x > '\u00DF \u65E5\u672C.txt' && mkfifo pipe");
  must("xorriso -as mkisofs -quiet -R -hfsplus -V GANNET -o " + shell_word(image) + " " +
       shell_word(source));
  const StraightSurvey straight = survey_straight(open_image(image));
  CHECK_FALSE(any_fault(straight.survey.findings));
  Volumes volumes = open_volumes(straight, "", {});
  OpenVolume* hfsplus = nullptr;
  for (OpenVolume& open : volumes.open) {
    if (open.layer->format == "hfsplus") hfsplus = &open;
  }
  REQUIRE(hfsplus != nullptr);
  Tree ours = tree_of_volume(*hfsplus->volume, hfsplus->view);
  Tree theirs = tree_of_directory(source);
  CHECK(differences(comparable(ours), comparable(theirs)) == "");
  CHECK(hfsplus->layer->facts.words("volume_name") == "GANNET");
  const VolumeCheck check = check_volume(*hfsplus->volume, hfsplus->view);
  for (const Finding& finding : check.findings)
    FAIL_CHECK(finding.message);
  CHECK(hfsplus->layer->facts.number("files") == check.files);
  CHECK(hfsplus->layer->facts.number("directories") == check.directories);
}

TEST_CASE("HFS+: libblkid names the volumes of the writer", "[hfsplus]") {
  const TemporaryDirectory directory;
  const std::string image = directory.file("image");
  for (const bool by_case : {false, true}) {
    for (const std::size_t node_bytes : {4096U, 8192U}) {
      fixtures::HfsPlusWriter writer(
          {.node_bytes = node_bytes, .name = "Corvid Gro\u0308\u00DFe", .by_case = by_case});
      writer.add_file("a", {"content"});
      const auto bytes = writer.build();
      for (const bool wrapped : {false, true}) {
        if (wrapped && by_case) continue;  // the newer kind was never wrapped
        CAPTURE(by_case, node_bytes, wrapped);
        write_file(image, wrapped ? fixtures::wrap_in_hfs(bytes) : bytes);
        CHECK(blkid_value(image, "TYPE") == "hfsplus");
        CHECK(blkid_value(image, "LABEL") == "Corvid Gro\u0308\u00DFe");
      }
    }
  }
}

}  // namespace
}  // namespace platter::test
