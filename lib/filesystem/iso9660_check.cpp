// Comparing the records of ISO 9660 and High Sierra volumes with one another.
#include <algorithm>
#include <functional>
#include <iterator>
#include <string_view>

#include <fmt/format.h>

#include "filesystem/high_sierra_structures.h"
#include "filesystem/iso9660_names.h"
#include "filesystem/iso9660_path_table.h"
#include "filesystem/iso9660_scan.h"
#include "filesystem/iso9660_volume.h"

namespace platter::filesystem::iso9660 {
namespace {

using Report = FunctionRef<void(Severity, FindingCode, std::uint64_t place, std::uint64_t bytes,
                                std::string message)>;

// Blocks of a file or, with kMetadata, of the volume's own records.
struct Span {
  std::uint32_t block;
  std::uint32_t blocks;
  std::uint64_t record;  // place of the record that says so; with kMetadata

  static constexpr std::uint64_t kMetadata = std::uint64_t{1} << 63U;
  [[nodiscard]] bool metadata() const { return (record & kMetadata) != 0; }
  [[nodiscard]] std::uint64_t place() const { return record & ~kMetadata; }
  [[nodiscard]] std::uint64_t end() const { return std::uint64_t{block} + blocks; }
};

struct BlockRange {
  std::uint32_t block, blocks;
  friend auto operator<=>(const BlockRange&, const BlockRange&) = default;
};

// A directory as a path table or the tree tells of it.
struct KnownDirectory {
  std::uint32_t extent, parent;
  std::uint64_t name_hash;
  friend auto operator<=>(const KnownDirectory&, const KnownDirectory&) = default;
};

std::uint64_t hash_of(std::span<const std::byte> name) {
  return std::hash<std::string_view>()({reinterpret_cast<const char*>(name.data()), name.size()});
}

class TreeCheck {
 public:
  TreeCheck(const VolumeSource& source, const DirectoryTree& tree, Report report)
      : source_(source), tree_(tree), report_(report) {}

  void run() {
    add_span(0, source_.descriptors_end, 0, true);
    for (const auto* tables : {&tree_.path_tables_l, &tree_.path_tables_m}) {
      for (const std::uint64_t block : *tables)
        add_span(tree_.shape.place_of(block), tree_.shape.path_table_bytes, 0, true);
    }
    scan_tree(source_, tree_,
              {.directory = [&](const ScannedDirectory& d, std::uint64_t own) { look_at(d, own); },
               .broken =
                   [&](const DirectoryReader& reader) {
                     report_(Severity::fault, FindingCode::filesystem_damaged, reader.place(), 1,
                             reader.words());
                   },
               .record = [&](const ScannedDirectory& d, const ParsedRecord& record,
                             const RockFields& rock,
                             std::span<const ContinuationArea>) { look_at(d, record, rock); }});
    if (loose_names_ != 0) {
      report_(Severity::note, FindingCode::name_illegal, first_loose_name_, 1,
              fmt::format("{} identifiers of the {} tree hold characters that ISO 9660 does not "
                          "allow, or have another form",
                          loose_names_, tree_.role));
    }
    compare_tables();
    find_overlaps();
  }

  /// Where the files with content lie, sorted, each place once.
  [[nodiscard]] std::vector<BlockRange> file_places() {
    std::vector<BlockRange> places;
    places.reserve(spans_.size());
    for (const Span& span : spans_) {
      if (!span.metadata()) places.push_back({span.block, span.blocks});
    }
    spans_.clear();
    spans_.shrink_to_fit();
    std::ranges::sort(places);
    const auto extra = std::ranges::unique(places);
    places.erase(extra.begin(), extra.end());
    return places;
  }

 private:
  [[nodiscard]] bool is_root(const ScannedDirectory& directory) const {
    return directory.record == tree_.root_record;
  }

  void damaged(Severity severity, std::uint64_t place, std::uint64_t bytes, std::string message) {
    report_(severity, FindingCode::filesystem_damaged, place, bytes, std::move(message));
  }

  void add_span(std::uint64_t place, std::uint64_t bytes, std::uint64_t record, bool metadata) {
    const std::uint64_t block = source_.block_bytes();
    if (bytes == 0 || saturating_add(place, bytes) > source_.volume_bytes()) return;
    spans_.push_back({static_cast<std::uint32_t>(place / block),
                      static_cast<std::uint32_t>(divide_up(place % block + bytes, block)),
                      record | (metadata ? Span::kMetadata : 0)});
  }

  void look_at(const ScannedDirectory& directory, std::uint64_t own_bytes) {
    directories_.push_back({static_cast<std::uint32_t>(directory.extent),
                            static_cast<std::uint32_t>(directory.parent),
                            hash_of(directory.identifier)});
    add_span(directory.place, own_bytes, directory.record, true);
    if (directory.bytes % kSectorBytes != 0) {
      damaged(Severity::caution, directory.record, 1,
              fmt::format("a directory of the {} tree has {} bytes, expected a multiple of {}",
                          tree_.role, directory.bytes, kSectorBytes));
    }
    if (!is_root(directory) && own_bytes != directory.bytes) {
      damaged(
          Severity::fault, directory.place, 1,
          fmt::format("a directory says that it has {} bytes, the record of it in the directory "
                      "above {}",
                      own_bytes, directory.bytes));
    }
  }

  void look_at(const ScannedDirectory& directory, const ParsedRecord& record,
               const RockFields& rock) {
    if (halves_differ(source_.dialect, record)) {
      report_(Severity::fault, FindingCode::both_endian_differ, record.place, record.all.size(),
              fmt::format("a directory record's place, length or volume number differs between "
                          "little-endian (block {}, {} bytes) and big-endian order",
                          record.extent, record.bytes));
    }
    if (!rock.trouble.empty()) {
      damaged(Severity::caution, rock.trouble_place, kSuspHead.bytes, std::string(rock.trouble));
    }
    if (record.is_self()) {
      expect_extent(directory, record, directory.extent, "itself");
    } else if (record.is_parent()) {
      // A widespread maker lets the parent record of a Joliet directory name the directory itself.
      const bool harmless = tree_.charset == Charset::ucs2_be && record.extent == directory.extent;
      if (!rock.parent && !harmless) {
        expect_extent(directory, record, directory.parent, "the directory above");
      }
    } else {
      look_at_content(record, rock);
    }
  }

  void expect_extent(const ScannedDirectory& directory, const ParsedRecord& record,
                     std::uint64_t expected, std::string_view whom) {
    if (record.extent == expected || (is_root(directory) && record.is_self())) return;
    damaged(Severity::caution, record.place, record.all.size(),
            fmt::format("a directory's record of {} gives block {}, expected {}", whom,
                        record.extent, expected));
  }

  void look_at_content(const ParsedRecord& record, const RockFields& rock) {
    if (tree_.strict_names && !is_strict_identifier(record) && loose_names_++ == 0) {
      first_loose_name_ = record.place;
    }
    const bool nothing = record.bytes == 0 || rock.child || rock.has_link || !source_.here(record);
    if (nothing) return;
    const std::uint64_t place = source_.data_place(record);
    const bool interleaved = record.unit_blocks != 0 && record.gap_blocks != 0;
    if (!interleaved && (record.unit_blocks != 0 || record.gap_blocks != 0)) {
      damaged(Severity::caution, record.place, record.all.size(),
              fmt::format("a file has units of {} blocks and gaps of {}, expected both or neither",
                          record.unit_blocks, record.gap_blocks));
    }
    if (saturating_add(place, record.bytes) > source_.volume_bytes()) {
      report_(Severity::fault, FindingCode::extent_beyond_end, record.place, record.all.size(),
              fmt::format("a {} has {} bytes at block {}, but the volume ends at block {}",
                          record.is_directory() ? "directory" : "file", record.bytes, record.extent,
                          source_.primary().shape.blocks));
      return;
    }
    if (record.is_directory()) {
      SingleRecord self;
      if (place < source_.view.bytes() && !directory_begins(source_, place, self)) {
        damaged(Severity::fault, record.place, record.all.size(),
                fmt::format("the directory at block {} does not begin with a record of itself",
                            record.extent));
      }
    } else if (!interleaved) {
      add_span(place, record.bytes, record.place, false);
    }
  }

  // Files that lie in equal blocks are names of one file.
  void find_overlaps() {
    std::ranges::sort(spans_, [](const Span& a, const Span& b) {
      return a.block != b.block ? a.block < b.block : a.blocks > b.blocks;
    });
    const Span* last = nullptr;  // that reaches furthest
    for (const Span& span : spans_) {
      const bool touches = last != nullptr && span.block < last->end();
      const bool equal = touches && span.block == last->block && span.blocks == last->blocks;
      const bool files = touches && !span.metadata() && !last->metadata();
      const bool records = touches && span.metadata() && last->metadata();
      if (touches && !records && !(equal && files)) {
        const Span& file = !span.metadata() ? span : *last;
        const Span& other = &file == &span ? *last : span;
        report_(Severity::fault, FindingCode::extent_overlap, file.place(), 1,
                fmt::format("a file in blocks {} to {} shares blocks with {} in blocks {} to {}",
                            file.block, file.end() - 1,
                            files ? "another file" : "the volume's own records", other.block,
                            other.end() - 1));
      }
      if (last == nullptr || span.end() > last->end()) last = &span;
    }
  }

  // ---- Path tables ----

  struct TableRecord {
    std::uint64_t length = 0;  // of the identifier
    std::uint64_t extent = 0;
    std::uint64_t parent = 0;
  };

  template <const Structure& S>
  static TableRecord decode(const std::byte* bytes, ByteOrder order) {
    const FieldReader<S> fields(bytes, order);
    return {fields.template get<"identifier_length">(), fields.template get<"extent">(),
            fields.template get<"parent">()};
  }

  // The directories of a table, sorted; nothing when it is not whole.
  [[nodiscard]] std::vector<KnownDirectory> read_table(std::uint64_t block, ByteOrder order) const {
    constexpr std::uint64_t kLongest = PathTable::kMostRecords * (kPathRecord.bytes + 256);
    const std::uint64_t bytes = tree_.shape.path_table_bytes;
    if (bytes > kLongest) return {};
    const auto table = source_.view.read_vector(tree_.shape.place_of(block), bytes);
    if (table.size() != bytes) return {};
    std::vector<KnownDirectory> found;
    std::vector<std::uint32_t> extents;  // by number
    for (std::size_t at = 0; at + kPathRecord.bytes <= bytes;) {
      const TableRecord record = source_.dialect == Dialect::ecma119
                                     ? decode<kPathRecord>(table.data() + at, order)
                                     : decode<high_sierra::kPathRecord>(table.data() + at, order);
      const std::size_t name = at + kPathRecord.bytes;
      if (record.length == 0 || record.length > bytes - name) return {};
      const auto length = static_cast<std::size_t>(record.length);
      extents.push_back(static_cast<std::uint32_t>(record.extent));
      if (record.parent == 0 || record.parent > extents.size()) return {};
      found.push_back({extents.back(), extents[static_cast<std::size_t>(record.parent) - 1],
                       hash_of(std::span(table).subspan(name, length))});
      at = name + length + length % 2;
    }
    std::ranges::sort(found);
    return found;
  }

  void compare_tables() {
    if (directories_.size() > PathTable::kMostRecords) return;  // numbers have 16 bits
    std::ranges::sort(directories_);
    for (const std::uint64_t block : tree_.path_tables_l)
      compare_table(block, ByteOrder::little, "L");
    for (const std::uint64_t block : tree_.path_tables_m)
      compare_table(block, ByteOrder::big, "M");
  }

  void compare_table(std::uint64_t block, ByteOrder order, std::string_view name) {
    const std::uint64_t place = tree_.shape.place_of(block);
    const std::uint64_t bytes = tree_.shape.path_table_bytes;
    if (saturating_add(place, bytes) > source_.view.bytes())
      return;  // cut, or outside: said before
    const std::vector<KnownDirectory> table = read_table(block, order);
    std::vector<KnownDirectory> missing;
    std::vector<KnownDirectory> extra;
    std::ranges::set_difference(directories_, table, std::back_inserter(missing));
    std::ranges::set_difference(table, directories_, std::back_inserter(extra));
    if (missing.empty() && extra.empty()) return;
    const KnownDirectory& first = missing.empty() ? extra.front() : missing.front();
    report_(Severity::fault, FindingCode::path_table_differs, place, bytes,
            fmt::format("the {} path table {} at block {} lacks {} directories of the tree and has "
                        "{} others; the first is at block {} below the one at block {}",
                        tree_.role, name, block, missing.size(), extra.size(), first.extent,
                        first.parent));
  }

  const VolumeSource& source_;
  const DirectoryTree& tree_;
  Report report_;
  std::vector<Span> spans_;
  std::vector<KnownDirectory> directories_;
  std::uint64_t loose_names_ = 0;
  std::uint64_t first_loose_name_ = 0;
};

}  // namespace

void Iso9660Volume::check_records() {
  const auto report = [this](Severity severity, FindingCode code, std::uint64_t place,
                             std::uint64_t bytes, std::string message) {
    find(severity, code, node_at(place), bytes, std::move(message));
  };
  std::vector<BlockRange> primary;
  for (const DirectoryTree& tree : source_.trees) {
    TreeCheck check(source_, tree, report);
    check.run();
    if (source_.trees.size() == 1) return;
    const std::vector<BlockRange> places = check.file_places();
    if (&tree == &source_.primary()) {
      primary = places;
      continue;
    }
    // The other way round is usual: a tree leaves out what it has no name for.
    std::vector<BlockRange> strange;
    std::ranges::set_difference(places, primary, std::back_inserter(strange));
    if (strange.empty()) continue;
    find(Severity::note, FindingCode::filesystem_damaged, node_at(tree.root_record), 1,
         fmt::format("of the {} places of files that the {} tree names, {} are not in the primary "
                     "tree, the first at block {}",
                     places.size(), tree.role, strange.size(), strange.front().block));
  }
}

}  // namespace platter::filesystem::iso9660
