// HFS+: names in every script, their order, and files with several names.
#include "hfsplus_support.h"

namespace platter::test {
namespace {

using namespace std::string_literals;

TEST_CASE("HFS+: names that differ by case", "[hfsplus]") {
  HfsPlusWriter writer({.by_case = true});
  writer.add_directory("b").add_file("a", {"1"}).add_file("A", {"22"}).add_file("B", {"333"});
  writer.add_link("b/link", "a");
  const auto bytes = writer.build();
  const auto found = claims_of("hfsplus", bytes);
  REQUIRE(found.size() == 1);
  CHECK(found[0].facts.words("variant") == "case-sensitive");
  const Judged judged = judge("hfsplus", bytes);
  CHECK(judged.all() == "");
  CHECK(judged.tree.size() == 5);
  CHECK(judged.tree.at("A").bytes == 2);
  CHECK(judged.tree.at("b/link").links == 2U);
  const View view = view_of(bytes);
  const auto volume = open_volume("hfsplus", view);
  std::vector<std::string> order;
  volume->each_entry(volume->root(), [&](const Entry& entry) {
    order.push_back(decode_text(entry.name, entry.charset).utf8);
    return true;
  });
  CHECK(order == std::vector<std::string>{"A", "B", "a", "b"});
}

TEST_CASE("HFS+: the order of names", "[hfsplus]") {
  const auto compare = [](std::u16string_view a, std::u16string_view b, bool by_case = false) {
    const auto raw = [](std::u16string_view text) {
      std::string bytes;
      for (const char16_t unit : text)
        bytes += {static_cast<char>(unit >> 8U), static_cast<char>(unit & 0xFFU)};
      return bytes;
    };
    const int order = compare_hfsplus_names(raw(a), raw(b), by_case);
    return order < 0 ? -1 : order > 0 ? 1 : 0;
  };
  CHECK(compare(u"abc", u"ABC") == 0);
  CHECK(compare(u"abc", u"ABC", true) == 1);
  CHECK(compare(u"ab", u"abc") == -1);
  CHECK(compare(u"Z", u"_") == 1);
  CHECK(compare(u"", u"a") == -1);
  CHECK(compare(u"", u"") == 0);
  // Linux fs/hfsplus/tables.c: letters with a small form of their own, and those that have none.
  CHECK(compare(u"\u00C6", u"\u00E6") == 0);
  CHECK(compare(u"\u00C4", u"\u00E4") == -1);  // written decomposed, so never folded
  CHECK(compare(u"\u0391\u03A9", u"\u03B1\u03C9") == 0);
  CHECK(compare(u"\u0410\u042F", u"\u0430\u044F") == 0);
  CHECK(compare(u"\u0419", u"\u0439") == -1);
  CHECK(compare(u"\u013F\u0141", u"\u0140\u0142") == 0);
  CHECK(compare(u"\u0140", u"\u0141") == -1);
  CHECK(compare(u"\u0531", u"\u0561") == 0);
  CHECK(compare(u"\uFF21", u"\uFF41") == 0);
  CHECK(compare(u"a\u200Db\uFEFF", u"ab") == 0);  // ignored
  CHECK(compare(u"a\u200Db", u"ab", true) == 1);
  CHECK(compare(std::u16string(1, u'\0'), u"\u9FA5") == 1);  // NUL comes last
}

TEST_CASE("HFS+: names with a slash, a colon, zero, and outside ASCII", "[hfsplus]") {
  HfsPlusWriter writer;
  writer.add_file("a:b", {"1"})
      .add_file("Gro\u0308\u00DFe", {"2"})
      .add_file("\U0001D11E", {"3"})
      .add_file("plain", {"4"});
  auto bytes = writer.build();
  Judged judged = judge("hfsplus", bytes);
  CHECK(judged.all() == "");
  CHECK(judged.tree.contains("a:b"));  // a slash on the disk
  CHECK(judged.tree.contains("Gro\u0308\u00DFe"));
  CHECK(judged.tree.contains("\U0001D11E"));
  std::byte* name = record_named(bytes, writer, "plain") - 10;
  name[3] = std::byte{':'};
  judged = judge("hfsplus", bytes);
  CHECK(judged.says("holds a colon"));
  CHECK(judged.tree.contains("p:ain"));
  name[3] = std::byte{0};
  CHECK(judge("hfsplus", bytes).tree.contains("p%00ain"));
  name[2] = std::byte{0xD8};  // half a surrogate pair
  CHECK(judge("hfsplus", bytes).tree.size() == 4);
}

TEST_CASE("HFS+: hard links are the file that they lead to", "[hfsplus]") {
  HfsPlusWriter writer;
  writer.add_file("first", {"content"}, {"resource"}, {.permissions = 0640, .uid = 7})
      .add_directory("d")
      .add_link("d/second", "first")
      .add_link("third", "d/second")
      .add_file("other", {"x"})
      .add_link("again", "other");
  auto bytes = writer.build();
  const Judged judged = judge("hfsplus", bytes);
  CHECK(judged.all() == "");
  CHECK(judged.tree.size() == 9);  // the private directory is not among them
  for (const char* path : {"first", "d/second", "third"}) {
    CHECK(judged.tree.at(path).links == 3U);
    CHECK(judged.tree.at(path).bytes == 7);
    CHECK(judged.tree.at(path).mode == 0640U);
    CHECK(judged.tree.at(path).uid == 7U);
    CHECK(judged.tree.at(path + ".rsrc"s).bytes == 8);
  }
  CHECK(judged.tree.at("again").links == 2U);
  const View view = view_of(bytes);
  const auto volume = open_volume("hfsplus", view);
  const NodeId node = find_path(*volume, "first")->node;
  CHECK(find_path(*volume, "third")->node == node);
  CHECK(volume->attributes(node).identity != 0);
  CHECK(volume->attributes(node).identity !=
        volume->attributes(find_path(*volume, "first.rsrc")->node).identity);
  CHECK(content_of(*volume, view, "d/second") == "content");
  CHECK(complaints(bytes) == "");

  SECTION("a link without its file") {
    file_named(bytes, writer, "third").sub<"permissions">().set<"special">(4711);
    const Judged spoiled = judge("hfsplus", bytes);
    CHECK(spoiled.says("leads to the file iNode4711 of the private directory"));
    CHECK(spoiled.tree.at("third").bytes == 0);
    CHECK(complaints(bytes).find("states 3 names, 2 were found") != std::string::npos);
  }
  SECTION("a file that only looks like a link") {
    // Technical note 1150: the creation date must be that of the private directory or the root.
    file_named(bytes, writer, "third").set<"created">(1);
    const Judged spoiled = judge("hfsplus", bytes);
    CHECK(spoiled.tree.at("third").bytes == 0);
    CHECK(spoiled.tree.at("third").links == 1U);
    CHECK_FALSE(spoiled.says("leads to"));
  }
  SECTION("a link that leads to a link") {
    // The file of the links is made a link to itself.
    const std::string name = "iNode" + std::to_string(16);
    std::size_t changed = 0;
    for (std::size_t at = writer.catalog_place(); at + 300 < bytes.size(); ++at) {
      const std::string wanted = hfsplus_name_of(name);
      if (!std::equal(wanted.begin(), wanted.end(), bytes.begin() + static_cast<std::ptrdiff_t>(at),
                      [](char c, std::byte b) { return b == std::byte(c); })) {
        continue;
      }
      std::byte* record = bytes.data() + at + wanted.size();
      if (FieldReader<kHfsPlusFile>(record, ByteOrder::big).get<"kind">() != 2) continue;
      FieldWriter<kHfsPlusFile> file(record, ByteOrder::big);
      file.set_text<"type">("hlnk").set_text<"creator">("hfs+");
      file.sub<"permissions">().set<"special">(16);
      ++changed;
    }
    CHECK(changed == 1);
    CHECK(judge("hfsplus", bytes).tree.at("first").bytes == 7);
  }
}

TEST_CASE("HFS+: files that were removed while in use", "[hfsplus]") {
  HfsPlusWriter writer;
  writer.add_file("a", {"1"}).add_link("b", "a").add_removed_file("temp77", {"gone"});
  const auto bytes = writer.build();
  const Judged judged = judge("hfsplus", bytes);
  CHECK(judged.all() == "");
  const std::string directory = "%00%00%00%00HFS+ Private Data";
  CHECK(judged.tree.size() == 4);
  CHECK(judged.tree.contains(directory));
  CHECK(judged.tree.at(directory + "/temp77").bytes == 4);
  CHECK(complaints(bytes) == "");
}

TEST_CASE("HFS+: names of resource forks give way to real names", "[hfsplus]") {
  HfsPlusWriter writer;
  writer.add_file("A", {"a"}, {"ra"})
      .add_file("A.rsrc", {"b"}, {"rbb"})
      .add_file("A.rsrc-2", {"c"})
      .add_file("B", {}, {"r"});
  const Judged judged = judge("hfsplus", writer.build());
  CHECK(judged.all() == "");
  CHECK(judged.tree.size() == 7);
  CHECK(judged.tree.at("A.rsrc").bytes == 1);
  CHECK(judged.tree.at("A.rsrc-3").bytes == 2);
  CHECK(judged.tree.at("A.rsrc.rsrc").bytes == 3);
  CHECK(judged.tree.at("B.rsrc").bytes == 1);
}

}  // namespace
}  // namespace platter::test
