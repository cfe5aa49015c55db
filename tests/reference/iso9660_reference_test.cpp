// ISO 9660 volumes against others: what genisoimage, xorriso, makefs and libarchive write is read
// as libiso9660 and libblkid read it; what our writer makes is read by libarchive and libiso9660.
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <map>
#include <memory>
#include <string>

#include <archive.h>
#include <archive_entry.h>
#include <catch2/catch.hpp>
#include <cdio/iso9660.h>

#include "core/claim.h"
#include "reference/blkid_probe.h"
#include "support/survey.h"
#include "writers/iso9660_writer.h"

namespace platter::filesystem {
extern const Format iso9660_format;
}

namespace platter::test {
namespace {

// ---- Readers of others -------------------------------------------------------------------------

struct Item {
  char type = '-';      // '-', 'd' or 'l'
  std::string content;  // or a link's target
  unsigned permissions = 0;
  std::int64_t uid = 0;
  std::int64_t gid = 0;
  std::int64_t modified = 0;
  friend bool operator==(const Item&, const Item&) = default;
};
using Tree = std::map<std::string, Item>;

std::ostream& operator<<(std::ostream& out, const Item& item) {
  return out << item.type << " " << std::oct << item.permissions << std::dec << " " << item.uid
             << "/" << item.gid << " @" << item.modified << " " << item.content.size() << " bytes";
}

std::string without_slashes(std::string path) {
  while (path.starts_with("./"))
    path.erase(0, 2);
  while (path.ends_with('/'))
    path.pop_back();
  return path;
}

// libarchive's reader. `options` turns extensions off, e.g. "!joliet".
Tree read_with_libarchive(const std::string& path, const char* options) {
  const std::unique_ptr<archive, int (*)(archive*)> reader(archive_read_new(), archive_read_free);
  REQUIRE(archive_read_support_format_iso9660(reader.get()) == ARCHIVE_OK);
  REQUIRE(archive_read_set_options(reader.get(), options) == ARCHIVE_OK);
  REQUIRE(archive_read_open_filename(reader.get(), path.c_str(), 2048) == ARCHIVE_OK);
  Tree tree;
  archive_entry* entry = nullptr;
  while (archive_read_next_header(reader.get(), &entry) == ARCHIVE_OK) {
    Item item;
    const auto type = archive_entry_filetype(entry);
    item.type = type == AE_IFDIR ? 'd' : type == AE_IFLNK ? 'l' : '-';
    item.permissions = archive_entry_perm(entry);
    item.uid = archive_entry_uid(entry);
    item.gid = archive_entry_gid(entry);
    item.modified = archive_entry_mtime(entry);
    if (item.type == 'l') item.content = archive_entry_symlink(entry);
    char piece[4096];
    for (la_ssize_t n = 0; (n = archive_read_data(reader.get(), piece, sizeof piece)) > 0;) {
      item.content.append(piece, static_cast<std::size_t>(n));
    }
    tree[without_slashes(archive_entry_pathname(entry))] = item;
  }
  tree.erase(".");
  return tree;
}

class IsoVolume {
 public:
  IsoVolume(const std::string& path, iso_extension_mask_t extensions)
      : volume_(iso9660_open_ext(path.c_str(), extensions)) {
    REQUIRE(volume_ != nullptr);
  }
  IsoVolume(const IsoVolume&) = delete;
  IsoVolume(IsoVolume&&) = delete;
  IsoVolume& operator=(const IsoVolume&) = delete;
  IsoVolume& operator=(IsoVolume&&) = delete;
  ~IsoVolume() { iso9660_close(volume_); }
  [[nodiscard]] iso9660_t* get() const { return volume_; }

  using Getter = bool (*)(iso9660_t*, cdio_utf8_t**);
  // A text of the descriptor; libiso9660 gives nothing for an empty one.
  [[nodiscard]] std::string text(Getter getter) const {
    cdio_utf8_t* value = nullptr;
    const bool there = getter(volume_, &value);
    std::string result = there && value != nullptr ? value : "";
    std::free(value);  // NOLINT: libiso9660 allocates it
    return result;
  }

  void read(Tree& tree, const std::string& directory) const {
    CdioISO9660FileList_t* list = iso9660_ifs_readdir(volume_, ("/" + directory).c_str());
    REQUIRE(list != nullptr);
    CdioListNode_t* node = nullptr;
    _CDIO_LIST_FOREACH(node, list) {
      const auto* stat = static_cast<const iso9660_stat_t*>(_cdio_list_node_data(node));
      std::string name = stat->filename;
      if (name == "." || name == "..") continue;
      if (name.ends_with(";1")) name.resize(name.size() - 2);  // kept in Joliet names
      const std::string path = directory + name;
      tree[path] = item_of(*stat);
      if (tree[path].type == 'd') read(tree, path + "/");
    }
    iso9660_filelist_free(list);
  }

 private:
  [[nodiscard]] Item item_of(const iso9660_stat_t& stat) const {
    Item item;
    const bool rock = stat.rr.b3_rock == yep;
    const bool link = rock && S_ISLNK(stat.rr.st_mode);
    item.type = stat.type == iso9660_stat_s::_STAT_DIR ? 'd' : link ? 'l' : '-';
    if (rock) {
      item.permissions = stat.rr.st_mode & 07777U;
      item.uid = stat.rr.st_uid;
      item.gid = stat.rr.st_gid;
    }
    std::tm time = stat.tm;
    item.modified = mktime(&time);
    if (link) item.content.assign(stat.rr.psz_symlink, static_cast<std::size_t>(stat.rr.i_symlink));
    if (item.type != '-') return item;
    std::string blocks((stat.size + 2047UL) / 2048 * 2048, '\0');
    const auto count = static_cast<long>(blocks.size() / 2048);
    if (count > 0) {
      CHECK(iso9660_iso_seek_read(volume_, blocks.data(), stat.lsn, count) == count * 2048);
    }
    item.content = blocks.substr(0, stat.size);
    return item;
  }

  iso9660_t* volume_;
};

Tree read_with_libiso9660(const std::string& path, iso_extension_mask_t extensions) {
  Tree tree;
  IsoVolume(path, extensions).read(tree, "");
  return tree;
}

// ---- Our reading against theirs ----------------------------------------------------------------

Claim claim_of(const std::string& path) {
  const View view(map_file(path));
  auto claims = filesystem::iso9660_format.claims(view, Context{view});
  REQUIRE(claims.size() == 1);
  return std::move(claims.front());
}

void check_texts(const Claim& claim, const std::string& path) {
  const IsoVolume plain(path, ISO_EXTENSION_NONE);
  CHECK(claim.facts.words("volume_name") == plain.text(iso9660_ifs_get_volume_id));
  CHECK(claim.facts.words("system_id") == plain.text(iso9660_ifs_get_system_id));
  CHECK(claim.facts.words("volume_set_id") == plain.text(iso9660_ifs_get_volumeset_id));
  CHECK(claim.facts.words("publisher_id") == plain.text(iso9660_ifs_get_publisher_id));
  CHECK(claim.facts.words("preparer_id") == plain.text(iso9660_ifs_get_preparer_id));
  CHECK(claim.facts.words("application_id") == plain.text(iso9660_ifs_get_application_id));
}

std::int64_t seconds_of(const iso9660_ltime_t& time) {
  std::tm broken_down{};
  REQUIRE(iso9660_get_ltime(&time, &broken_down));
  return mktime(&broken_down);  // TZ is UTC
}

void check_numbers(const Claim& claim, const std::string& path) {
  const IsoVolume volume(path, ISO_EXTENSION_NONE);
  iso9660_pvd_t pvd;
  REQUIRE(iso9660_ifs_read_pvd(volume.get(), &pvd));
  const auto blocks = static_cast<std::uint64_t>(iso9660_get_pvd_space_size(&pvd));
  const auto block_bytes = static_cast<std::uint64_t>(iso9660_get_pvd_block_size(&pvd));
  CHECK(claim.facts.number("block_bytes") == block_bytes);
  CHECK(claim.bytes == blocks * block_bytes);
  CHECK(std::get<Timestamp>(*claim.facts.find("created")).seconds == seconds_of(pvd.creation_date));
  const auto root = std::ranges::find(claim.records, "primary, root directory", &RecordData::role);
  REQUIRE(root != claim.records.end());
  CHECK(root->start == static_cast<std::uint64_t>(iso9660_get_root_lsn(&pvd)) * block_bytes);
}

void check_joliet(const Claim& claim, const std::string& path) {
  const IsoVolume volume(path, ISO_EXTENSION_JOLIET);
  const unsigned level = iso9660_ifs_get_joliet_level(volume.get());
  CHECK(claim.facts.number("joliet_level") == level);
  CHECK(std::get<bool>(*claim.facts.find("joliet")) == (level != 0));
  if (level == 0) return;
  CHECK(claim.facts.words("joliet_volume_name") == volume.text(iso9660_ifs_get_volume_id));
}

void check_against_libblkid(const Claim& claim, const std::string& path) {
  BlkidProbe probe(path);
  REQUIRE(probe.safe());
  CHECK(probe.value("TYPE") == "iso9660");
  CHECK(probe.value("LABEL") == claim.facts.words("volume_name"));
  const std::string block_bytes = probe.value("BLOCK_SIZE");
  if (!block_bytes.empty()) {
    CHECK(block_bytes == std::to_string(claim.facts.number("block_bytes")));
  }
  const bool joliet = std::get<bool>(*claim.facts.find("joliet"));
  CHECK((probe.value("VERSION") == "Joliet Extension") == joliet);
}

// Makers write sound volumes: there is nothing to find, and all readers agree.
void check_volume(const std::string& path) {
  const Claim claim = claim_of(path);
  for (const Finding& finding : claim.findings)
    UNSCOPED_INFO(finding.message);
  CHECK(claim.findings.empty());
  CHECK(claim.strength == Strength::proven);
  check_texts(claim, path);
  check_numbers(claim, path);
  check_joliet(claim, path);
  check_against_libblkid(claim, path);
  const Tree rock = read_with_libarchive(path, "!joliet");
  const Tree plain = read_with_libarchive(path, "!joliet,!rockridge");
  // With Rock Ridge, and only then, names have lower case and links exist.
  CHECK(std::get<bool>(*claim.facts.find("rock_ridge")) == (rock != plain));
}

void use_utc() {
  setenv("TZ", "UTC", 1);
  tzset();
}

// A tree that exercises names, levels and lists longer than one sector.
std::string source_tree(const TemporaryDirectory& scratch) {
  namespace fs = std::filesystem;
  std::string root = scratch.file("source");
  fs::create_directories(root + "/usr/lib/terminfo");
  fs::create_directories(root + "/boot");
  const auto write = [&](const std::string& name, const std::string& content) {
    std::ofstream(root + "/" + name, std::ios::binary) << content;
  };
  write("read.me", "a disc of the Gannet Point Computing Museum\n");
  write("boot/start.img", std::string(2048, 'b'));
  write("usr/lib/empty", "");
  for (int i = 0; i < 60; ++i) {
    write("usr/lib/terminfo/terminal-" + std::to_string(i), std::string(37, 't'));
  }
  fs::create_symlink("../../read.me", root + "/usr/lib/link");
  return root;
}

// $OUT and $SOURCE are set for each command.
struct Maker {
  std::string name;
  std::string command;
};

const std::string kTexts =
    " -V GANNET_1 -publisher 'GANNET POINT' -p VOLUNTEERS -A 'CORVIDOS TOOLS' -volset SET_1";
const std::string kBoot = " -b boot/start.img -no-emul-boot -c boot/catalog";

std::vector<Maker> makers() {
  return {
      {"plain", "genisoimage -quiet -o $OUT $SOURCE"},
      {"rock", "genisoimage -quiet -R -o $OUT" + kTexts + " $SOURCE"},
      {"joliet", "genisoimage -quiet -J -o $OUT" + kTexts + " $SOURCE"},
      {"all", "genisoimage -quiet -R -J -o $OUT" + kTexts + kBoot + " $SOURCE"},
      {"enhanced", "genisoimage -quiet -R -J -iso-level 4 -o $OUT" + kTexts + " $SOURCE"},
      {"xa", "genisoimage -quiet -XA -o $OUT $SOURCE"},
      {"xorriso-rock", "xorriso -as mkisofs -R -o $OUT" + kTexts + " $SOURCE"},
      {"xorriso-all", "xorriso -as mkisofs -R -J -o $OUT" + kTexts + kBoot + " $SOURCE"},
      {"makefs", "makefs -t cd9660 -o label=GANNET_1 $OUT $SOURCE"},
      {"makefs-rock", "makefs -t cd9660 -o rockridge,label=GANNET_1 $OUT $SOURCE"},
  };
}

TEST_CASE("volumes of other makers are read as other readers read them") {
  use_utc();
  const TemporaryDirectory scratch;
  const std::string source = source_tree(scratch);
  for (const Maker& maker : makers()) {
    INFO(maker.name);
    const std::string image = scratch.file(maker.name + ".iso");
    const RunResult made =
        run("OUT=" + shell_word(image) + " SOURCE=" + shell_word(source) + "; " + maker.command);
    INFO(made.err);
    REQUIRE(made.status == 0);
    check_volume(image);
    const Claim claim = claim_of(image);
    const bool boots = maker.command.find(kBoot) != std::string::npos;
    CHECK(std::get<bool>(*claim.facts.find("el_torito")) == boots);
    CHECK((claim.facts.find("enhanced") != nullptr) == (maker.name == "enhanced"));
    CHECK(claim.facts.number("directories") == 5);  // the root, boot, usr, lib, terminfo
  }
}

TEST_CASE("volumes that libarchive writes are read as other readers read them") {
  use_utc();
  const TemporaryDirectory scratch;
  const std::string image = scratch.file("image.iso");
  const std::string options =
      GENERATE(std::string("rockridge=useful,joliet"), std::string("!rockridge,!joliet"),
               std::string("rockridge=strict,!joliet,volume-id=GANNET"));
  INFO(options);
  const std::unique_ptr<archive, int (*)(archive*)> writer(archive_write_new(), archive_write_free);
  REQUIRE(archive_write_set_format_iso9660(writer.get()) == ARCHIVE_OK);
  REQUIRE(archive_write_set_options(writer.get(), options.c_str()) == ARCHIVE_OK);
  REQUIRE(archive_write_open_filename(writer.get(), image.c_str()) == ARCHIVE_OK);
  for (const char* path : {"usr/lib/words", "readme.txt"}) {
    const std::unique_ptr<archive_entry, void (*)(archive_entry*)> entry(archive_entry_new(),
                                                                         archive_entry_free);
    archive_entry_set_pathname(entry.get(), path);
    archive_entry_set_filetype(entry.get(), AE_IFREG);
    archive_entry_set_perm(entry.get(), 0644);
    archive_entry_set_size(entry.get(), 5);
    REQUIRE(archive_write_header(writer.get(), entry.get()) == ARCHIVE_OK);
    REQUIRE(archive_write_data(writer.get(), "words", 5) == 5);
  }
  REQUIRE(archive_write_close(writer.get()) == ARCHIVE_OK);
  check_volume(image);
}

// ---- Our writer against their readers ----------------------------------------------------------

struct Volume {
  Tree tree;  // with all that Rock Ridge keeps
  std::unique_ptr<fixtures::Iso9660Writer> writer;

  void directory(const std::string& path, const fixtures::IsoAttributes& a) {
    writer->add_directory(path, a);
    tree[path] = {'d', "", a.permissions, a.uid, a.gid, a.modified};
  }
  void file(const std::string& path, const std::string& content, const fixtures::IsoAttributes& a) {
    writer->add_file(path, content, a);
    tree[path] = {'-', content, a.permissions, a.uid, a.gid, a.modified};
  }
  void link(const std::string& path, const std::string& target, const fixtures::IsoAttributes& a) {
    writer->add_symlink(path, target, a);
    tree[path] = {'l', target, a.permissions, a.uid, a.gid, a.modified};
  }
};

Volume our_volume() {
  fixtures::IsoOptions options;
  options.joliet = true;
  options.texts.volume_id = "OURS";
  options.texts.system_id = "CORVIDOS";
  options.texts.publisher_id = "GANNET POINT";
  options.times.created = 800000000;
  options.boot = fixtures::IsoBoot{.path = "boot/start"};
  Volume v;
  v.writer = std::make_unique<fixtures::Iso9660Writer>(options);
  v.directory("boot", {.permissions = 0755, .modified = 800000001});
  v.file("boot/start", std::string(3000, 's'), {.permissions = 0444, .modified = 800000002});
  v.directory("usr", {.permissions = 0750, .uid = 3, .gid = 5, .modified = 800000003});
  v.directory("usr/lib", {.permissions = 0755, .uid = 1000, .gid = 70000, .modified = 800000004});
  v.file("usr/lib/" + std::string(60, 'n'), "n", {.permissions = 0600, .modified = 700000000});
  v.file("usr/lib/empty", "", {.permissions = 0644, .modified = 600000000});
  for (int i = 0; i < 50; ++i) {
    v.file("usr/lib/terminal-" + std::to_string(i), std::string(static_cast<unsigned>(i * 97), 't'),
           {.permissions = 0644, .modified = 500000000 + i});
  }
  v.link("usr/short", "lib/empty", {.permissions = 0777, .modified = 800000005});
  v.link("usr/long", "/" + std::string(120, 'x') + "/../" + std::string(80, 'y'),
         {.permissions = 0777, .modified = 800000006});  // in a continuation area
  return v;
}

// What a tree without Rock Ridge keeps.
Tree without_attributes(const Tree& tree) {
  Tree plain;
  for (const auto& [path, item] : tree) {
    if (item.type != 'l') plain[path] = {item.type, item.content, 0, 0, 0, item.modified};
  }
  return plain;
}

void check_same(const Tree& read, const Tree& expected) {
  for (const auto& [path, item] : expected) {
    INFO(path);
    REQUIRE(read.contains(path));
    CHECK(read.at(path) == item);
  }
  CHECK(read.size() == expected.size());
}

TEST_CASE("others read our volumes") {
  use_utc();
  const TemporaryDirectory scratch;
  const std::string image = scratch.file("ours.iso");
  const Volume ours = our_volume();
  write_file(image, ours.writer->build());

  SECTION("as we do") {
    check_volume(image);
    CHECK(blkid_value(image, "UUID") == "1995-05-09-06-13-20-00");  // created
  }
  SECTION("libarchive, Rock Ridge") {
    check_same(read_with_libarchive(image, "!joliet"), ours.tree);
  }
  SECTION("libarchive, Joliet") {
    Tree read = read_with_libarchive(image, "!rockridge");
    for (auto& [path, item] : read)
      item.permissions = 0;  // made up by the reader
    check_same(read, without_attributes(ours.tree));
  }
  SECTION("libiso9660, Rock Ridge") {
    Tree read = read_with_libiso9660(image, ISO_EXTENSION_ROCK_RIDGE);
    // Version 2.1 does not follow continuation areas.
    REQUIRE(read.contains("usr/long"));
    read["usr/long"].content = ours.tree.at("usr/long").content;
    check_same(read, ours.tree);
  }
  SECTION("libiso9660, Joliet") {
    check_same(read_with_libiso9660(image, ISO_EXTENSION_JOLIET), without_attributes(ours.tree));
  }
}

// libarchive 3.6 loses the slash between two SL entries and libiso9660 2.1 the whole target, so
// libisofs, behind xorriso, is the one to ask.
TEST_CASE("libisofs reads a link's target that needs two entries, and a name that does") {
  const TemporaryDirectory scratch;
  const std::string image = scratch.file("ours.iso");
  const std::string target = "/" + std::string(200, 'x') + "/../" + std::string(200, 'y');
  const std::string name(251, 'n');
  fixtures::Iso9660Writer writer;
  writer.add_symlink(name, target);
  write_file(image, writer.build());
  const RunResult read = run("xorriso -indev " + shell_word(image) + " -find / -type l -exec lsdl");
  INFO(read.err);
  CHECK(read.status == 0);
  CHECK(read.out.find("'/" + name + "' -> '" + target + "'") != std::string::npos);
}

}  // namespace
}  // namespace platter::test
