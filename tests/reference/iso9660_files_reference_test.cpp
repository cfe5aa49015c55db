// The files of ISO 9660 volumes against others: trees that genisoimage, xorriso and makefs put on a
// volume come back as the kernel of this machine shows their source, and as libarchive's reader and
// libiso9660 see them.
#include <sys/stat.h>

#include <algorithm>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <memory>
#include <string>

#include <archive.h>
#include <archive_entry.h>
#include <catch2/catch.hpp>
#include <cdio/iso9660.h>

#include "core/digest.h"
#include "filesystem/iso9660_structures.h"
#include "filesystem/iso9660_susp.h"
#include "support/survey.h"
#include "support/tree.h"
#include "writers/iso9660_sketch.h"

namespace platter::test {
namespace {

// What a tree without Rock Ridge keeps.
constexpr TreeView kNamesOnly{.modes = false, .ids = false, .links = false};

struct Maker {
  std::string name;
  std::string command;  // $OUT and $SOURCE are set
  bool keeps_links = false;
};

// A target of one part of 240 bytes fills its entry so that libiso9660 gives up on the names behind
// it; several parts do as well to lead through more than one entry.
void replace_long_link(const std::string& root) {
  namespace fs = std::filesystem;
  fs::remove(root + "/link-240");
  std::string target = "/";
  for (const unsigned length : {1U, 100U, 90U})
    target += std::string(length, 'p') + "/../";
  fs::create_symlink(target + "end", root + "/link-parts");
}

// Trees deeper than eight levels make Rock Ridge move directories.
std::string deep_tree(const TemporaryDirectory& scratch) {
  namespace fs = std::filesystem;
  std::string root = scratch.file("source");
  make_tree(root, {.unit = 2048, .largest = 300'000, .entries = 150, .holes = false});
  replace_long_link(root);
  std::string deep = root + "/deeper";
  for (int level = 0; level < 12; ++level)
    deep += "/directory-" + std::to_string(level);
  fs::create_directories(deep + "/a");
  fs::create_directories(deep + "/b/c");
  std::ofstream(deep + "/a/bottom") << "the deepest of all";
  std::ofstream(deep + "/b/c/other bottom") << "not quite";
  std::ofstream(root + "/deeper/directory-0/file") << "near the top";
  REQUIRE(mkfifo((root + "/pipe").c_str(), 0640) == 0);
  return root;
}

std::string make_image(const TemporaryDirectory& scratch, const Maker& maker,
                       const std::string& source) {
  const std::string image = scratch.file(maker.name + ".iso");
  const RunResult made =
      run("OUT=" + shell_word(image) + " SOURCE=" + shell_word(source) + "; " + maker.command);
  INFO(made.err);
  REQUIRE(made.status == 0);
  return image;
}

void check_silent(Volume& volume) {
  volume.check_records();
  for (const Finding& finding : volume.take_findings()) {
    CAPTURE(finding.message);
    CHECK(finding_kind(finding.code).code == "none");
  }
}

// The runs cover the volume without gap, and every file lies in used blocks.
void check_map(Volume& volume, std::uint64_t volume_bytes) {
  std::uint64_t at = 0;
  std::uint64_t used = 0;
  volume.each_run([&](const BlockRun& run) {
    CHECK(run.start == at);
    at += run.bytes;
    if (run.use == BlockUse::used) used += run.bytes;
    return true;
  });
  CHECK(at == volume_bytes);
  CHECK(used > 0);
}

// ---- Readers of others --------------------------------------------------------------------------

std::string without_slashes(std::string path) {
  while (path.starts_with("./"))
    path.erase(0, 2);
  while (path.ends_with('/'))
    path.pop_back();
  return path;
}

// A hard link comes without content: libarchive says where the first name is.
Tree read_with_libarchive(const std::string& path, const char* options) {
  const std::unique_ptr<archive, int (*)(archive*)> reader(archive_read_new(), archive_read_free);
  REQUIRE(archive_read_support_format_iso9660(reader.get()) == ARCHIVE_OK);
  REQUIRE(archive_read_set_options(reader.get(), options) == ARCHIVE_OK);
  REQUIRE(archive_read_open_filename(reader.get(), path.c_str(), 2048) == ARCHIVE_OK);
  Tree tree;
  archive_entry* entry = nullptr;
  for (;;) {
    const int status = archive_read_next_header(reader.get(), &entry);
    if (status != ARCHIVE_OK && status != ARCHIVE_WARN) break;
    TreeFile file;
    const std::string name = without_slashes(archive_entry_pathname(entry));
    if (const char* link = archive_entry_hardlink(entry)) {
      tree[name] = tree.at(without_slashes(link));
      continue;
    }
    const NodeType type = type_of_mode(archive_entry_filetype(entry));
    file.type = node_type_name(type);
    if (type != NodeType::directory)
      file.bytes = static_cast<std::uint64_t>(archive_entry_size(entry));
    file.mode = archive_entry_perm(entry);
    file.modified = archive_entry_mtime(entry);
    file.uid = static_cast<std::uint32_t>(archive_entry_uid(entry));
    file.gid = static_cast<std::uint32_t>(archive_entry_gid(entry));
    if (type == NodeType::symlink) {
      file.target = archive_entry_symlink(entry);
      file.bytes = file.target.size();
    }
    if (type == NodeType::file) {
      Sha256 digest;
      char piece[65536];
      for (la_ssize_t n = 0; (n = archive_read_data(reader.get(), piece, sizeof piece)) > 0;) {
        digest.update(std::as_bytes(std::span(piece).first(static_cast<std::size_t>(n))));
      }
      file.sha256 = digest.finish();
    }
    tree[name] = file;
  }
  tree.erase(".");
  tree.erase("");
  return tree;
}

// libiso9660 shows the directory that holds relocated ones and the places they were taken from;
// both are left out by the trees that it is asked to read here.
void read_with_libiso9660(iso9660_t* volume, const std::string& directory, Tree& tree) {
  CdioISO9660FileList_t* list = iso9660_ifs_readdir(volume, ("/" + directory).c_str());
  REQUIRE(list != nullptr);
  CdioListNode_t* node = nullptr;
  _CDIO_LIST_FOREACH(node, list) {
    const auto* stat = static_cast<const iso9660_stat_t*>(_cdio_list_node_data(node));
    const std::string name = stat->filename;
    if (name == "." || name == "..") continue;
    TreeFile file;
    const bool is_directory = stat->type == iso9660_stat_s::_STAT_DIR;
    file.type = is_directory ? "directory" : "file";
    if (stat->rr.b3_rock == yep) {
      file.type = node_type_name(type_of_mode(static_cast<std::uint32_t>(stat->rr.st_mode)));
      file.mode = stat->rr.st_mode & 07777U;
      file.uid = stat->rr.st_uid;
      file.gid = stat->rr.st_gid;
    }
    std::tm time = stat->tm;
    file.modified = mktime(&time);
    if (!is_directory) file.bytes = stat->size;
    tree[directory + name] = file;
    if (is_directory) read_with_libiso9660(volume, directory + name + "/", tree);
  }
  iso9660_filelist_free(list);
}

Tree read_with_libiso9660(const std::string& path, iso_extension_mask_t extensions) {
  iso9660_t* volume = iso9660_open_ext(path.c_str(), extensions);
  REQUIRE(volume != nullptr);
  Tree tree;
  read_with_libiso9660(volume, "", tree);
  iso9660_close(volume);
  return tree;
}

// Leaves out what libiso9660 does not tell. It does not follow continuation areas, where makefs
// puts the names of files with long targets.
Tree as_libiso9660_tells(Tree tree) {
  std::erase_if(tree, [](const auto& entry) {
    const std::string& path = entry.first;
    return path.starts_with("link-150") || path.starts_with("LINK_150") ||
           path.starts_with("link-parts") || path.starts_with("LINK_PARTS");
  });
  for (auto& [path, file] : tree) {
    file.sha256.clear();
    file.target.clear();
    if (file.type == "symlink") {
      file.bytes = 0;
      file.modified.reset();  // taken from the record, not from Rock Ridge
    }
    file.links.reset();
  }
  return tree;
}

void use_utc() {
  setenv("TZ", "UTC", 1);
  tzset();
}

// ---- Rock Ridge
// -----------------------------------------------------------------------------------

const std::string kBootFile = " -b one -no-emul-boot -c boot.catalog";

std::vector<Maker> rock_makers() {
  return {
      {"genisoimage", "genisoimage -quiet -R -J -o $OUT $SOURCE"},
      {"genisoimage-boot",
       "genisoimage -quiet -R -J -joliet-long" + kBootFile + " -o $OUT $SOURCE"},
      {"genisoimage-level4", "genisoimage -quiet -R -iso-level 4 -o $OUT $SOURCE"},
      {"genisoimage-xa", "genisoimage -quiet -R -XA -o $OUT $SOURCE"},
      {"xorriso", "xorriso -as mkisofs -R -J -o $OUT $SOURCE"},
      {"xorriso-links", "xorriso -as mkisofs -R --hardlinks -o $OUT $SOURCE", true},
      {"xorriso-boot", "xorriso -as mkisofs -R" + kBootFile + " -o $OUT $SOURCE"},
      {"makefs", "makefs -t cd9660 -o rockridge $OUT $SOURCE"},
  };
}

TEST_CASE("a tree with all that Rock Ridge keeps comes back as its source") {
  use_utc();
  const TemporaryDirectory scratch;
  const std::string source = deep_tree(scratch);
  for (const Maker& maker : rock_makers()) {
    INFO(maker.name);
    const std::string image = make_image(scratch, maker, source);
    const View view(map_file(image));
    const auto volume = open_volume("iso9660", view);
    Tree ours = tree_of_volume(*volume, view);
    ours.erase("boot.catalog");
    const TreeView kept{.links = maker.keeps_links};
    CHECK(differences(seen_as(ours, kept), seen_as(tree_of_directory(source), kept)) == "");
    check_silent(*volume);
    check_map(*volume, find_format("iso9660")->claims(view, Context{view}).at(0).bytes);
    std::filesystem::remove(image);
  }
}

// libarchive takes links of makefs for hard links, since they have extents that are not their own,
// and does not see which directories makefs moved.

// ---- The same volume through other readers
// ---------------------------------------------------------

Tree our_tree(const std::string& image, NameView names) {
  const View view(map_file(image));
  const auto volume = open_volume("iso9660", view, {.names = names});
  return seen_as(tree_of_volume(*volume, view), {.links = false});
}

// Levels that need no relocation, so that all three readers show the same tree.
std::string shallow_tree(const TemporaryDirectory& scratch) {
  std::string root = scratch.file("shallow");
  make_tree(
      root,
      {.unit = 2048, .largest = 100'000, .entries = 150, .longest_name = 100, .holes = false});
  replace_long_link(root);
  return root;
}

TEST_CASE("libarchive sees the trees that we see") {
  use_utc();
  const TemporaryDirectory scratch;
  const std::vector<Maker> makers = {
      {"genisoimage", "genisoimage -quiet -R -J -joliet-long -o $OUT $SOURCE"},
      {"xorriso", "xorriso -as mkisofs -R -J -joliet-long -o $OUT $SOURCE"},
      {"plain", "genisoimage -quiet -iso-level 2 -o $OUT $SOURCE"},
  };
  const std::string shallow = shallow_tree(scratch);
  const std::string deep = deep_tree(scratch);
  for (const Maker& maker : makers) {
    INFO(maker.name);
    if (maker.name != "plain") {
      const std::string image = make_image(scratch, maker, deep);
      CHECK(differences(our_tree(image, NameView::rock_ridge),
                        read_with_libarchive(image, "!joliet")) == "");
    }
    // Relocated directories confuse libarchive when it may not read Rock Ridge.
    const std::string image = make_image(scratch, maker, shallow);
    CHECK(differences(seen_as(our_tree(image, NameView::plain), kNamesOnly),
                      seen_as(read_with_libarchive(image, "!joliet,!rockridge"), kNamesOnly)) ==
          "");
    if (maker.name == "plain") continue;
    CHECK(differences(seen_as(our_tree(image, NameView::joliet), kNamesOnly),
                      seen_as(read_with_libarchive(image, "!rockridge"), kNamesOnly)) == "");
  }
}

TEST_CASE("libiso9660 sees the trees that we see") {
  use_utc();
  const TemporaryDirectory scratch;
  const std::vector<Maker> makers = {
      {"genisoimage", "genisoimage -quiet -R -J -joliet-long -o $OUT $SOURCE"},
      {"xorriso", "xorriso -as mkisofs -R -J -joliet-long -o $OUT $SOURCE"},
      {"makefs", "makefs -t cd9660 -o rockridge $OUT $SOURCE"},
  };
  const std::string source = shallow_tree(scratch);
  for (const Maker& maker : makers) {
    INFO(maker.name);
    const std::string image = make_image(scratch, maker, source);
    CHECK(differences(as_libiso9660_tells(our_tree(image, NameView::rock_ridge)),
                      as_libiso9660_tells(read_with_libiso9660(image, ISO_EXTENSION_ROCK_RIDGE))) ==
          "");
    if (maker.command.find(" -J") == std::string::npos) continue;
    CHECK(
        differences(seen_as(as_libiso9660_tells(our_tree(image, NameView::joliet)), kNamesOnly),
                    seen_as(as_libiso9660_tells(read_with_libiso9660(image, ISO_EXTENSION_JOLIET)),
                            kNamesOnly)) == "");
  }
}

// ---- What makers at hand do not write
// ---------------------------------------------------------------

TEST_CASE("libarchive and libisofs read sections, devices and continuations as we do") {
  use_utc();
  namespace iso = filesystem::iso9660;
  using namespace fixtures::iso9660;  // NOLINT(google-build-using-namespace): the entries
  const auto use = [](const std::string& name, std::uint64_t mode,
                      const std::vector<Bytes>& more = {}) {
    return joined(
        {name_entry(0, name), mode_entry(mode, 1, 3, 4), times_entry(700'000'000), joined(more)});
  };
  fixtures::IsoSketch sketch({.blocks = 80});
  sketch.root(
      {{.identifier = "BIG.;1",
        .block = 30,
        .bytes = 4096,
        .flags = iso::kMoreExtentsFlag,
        .system_use = use("big", 0100644)},
       {.identifier = "BIG.;1",
        .block = 40,
        .bytes = 2048,
        .flags = iso::kMoreExtentsFlag,
        .system_use = use("big", 0100644)},
       {.identifier = "BIG.;1", .block = 50, .bytes = 77, .system_use = use("big", 0100644)},
       {.identifier = "DEV.;1", .system_use = use("dev", 0020620, {device_entry(5, 2)})},
       {.identifier = "LINK.;1",
        .system_use = use("link", 0120777,
                          {link_entry(0, {{iso::kRockRoot},
                                          {0, "usr"},
                                          {iso::kRockParent},
                                          {iso::kRockContinues, "con"},
                                          {0, "tinued"}})})},
       {.identifier = "PIPE.;1", .system_use = use("pipe", 0010600)},
       {.identifier = "WHERE.;1",
        .block = 55,
        .bytes = 3,
        .system_use = joined({mode_entry(0100600, 1, 7, 8), name_entry(iso::kRockContinues, "one-"),
                              continuation_entry(22, 200, 41)})}},
      true);
  sketch.put(22,
             joined({name_entry(iso::kRockContinues, "two-"), mark_entry("RE"),
                     continuation_entry(23, 0, 36)}),
             200);
  // RE would hide the file: a padding entry of the same length stands there instead.
  sketch.put(22, "PD", 200 + 9);
  sketch.put(23, joined({name_entry(0, "three"), times_entry(700'000'001)}));
  sketch.put(30, std::string(4096, 'a')).put(40, std::string(2048, 'b'));
  sketch.put(50, std::string(77, 'c')).put(55, "abc");
  const TemporaryDirectory scratch;
  const std::string image = scratch.file("sketch.iso");
  write_file(image, sketch.build());
  Tree ours = our_tree(image, NameView::rock_ridge);
  CHECK(ours.size() == 5);
  CHECK(ours.at("link").target == "/usr/../continued");
  // libarchive 3.6 does not follow these areas; libisofs, behind xorriso, does.
  REQUIRE(ours.contains("one-two-three"));
  const RunResult listed = run("xorriso -indev " + shell_word(image) + " -lsl /");
  CHECK(listed.out.find("'one-two-three'") != std::string::npos);
  CHECK(listed.out.find("'link' -> '/usr/../continued'") != std::string::npos);
  Tree theirs = read_with_libarchive(image, "!joliet");
  ours.erase("one-two-three");
  theirs.erase("one-");
  CHECK(differences(ours, theirs) == "");
}

}  // namespace
}  // namespace platter::test
