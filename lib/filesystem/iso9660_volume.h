// The files of an ISO 9660 or High Sierra volume.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "core/volume.h"
#include "filesystem/iso9660_descriptors.h"
#include "filesystem/iso9660_record.h"
#include "filesystem/iso9660_rock.h"

namespace platter::filesystem::iso9660 {

/// One tree of directories, as a descriptor names it.
struct DirectoryTree {
  std::string role;               ///< for messages, e.g. "Joliet level 3"
  TreeShape shape;                ///< with a usable block size
  std::uint64_t root_record = 0;  ///< byte of the root's record within its descriptor, in the view
  std::uint64_t root_attribute_blocks = 0;
  std::vector<std::uint64_t> path_tables_l;  ///< blocks, copies too
  std::vector<std::uint64_t> path_tables_m;
  Charset charset = Charset::ascii;
  bool rock_ridge = false;
  bool strict_names = false;  ///< identifiers have to be d-characters
  std::uint64_t skip = 0;     ///< bytes in front of each system use field

  /// Byte of the root directory in the view.
  [[nodiscard]] std::uint64_t root_place() const noexcept {
    return shape.place_of(saturating_add(shape.root_extent, root_attribute_blocks));
  }
};

/// What an opened volume knows.
struct VolumeSource {
  View view;
  Dialect dialect = Dialect::ecma119;
  std::vector<DirectoryTree> trees;           ///< the primary one first
  std::size_t shown = 0;                      ///< the tree whose names are shown
  bool rock_ridge_shown = false;              ///< with the names that Rock Ridge gives
  std::uint64_t descriptors_end = 0;          ///< byte behind the descriptors, in the view
  std::optional<std::uint64_t> boot_catalog;  ///< its sector
  std::uint64_t set_size = 1;
  std::uint64_t sequence_number = 1;

  [[nodiscard]] const DirectoryTree& primary() const { return trees.front(); }
  [[nodiscard]] std::uint64_t block_bytes() const { return primary().shape.block_bytes; }
  [[nodiscard]] std::uint64_t volume_bytes() const { return primary().shape.volume_bytes(); }
  /// Byte of the data behind a record's attribute record, in the view.
  [[nodiscard]] std::uint64_t data_place(const ParsedRecord& record) const {
    return saturating_mul(saturating_add(record.extent, record.attribute_blocks), block_bytes());
  }
  /// Whether a record's data are on this volume of its set.
  [[nodiscard]] bool here(const ParsedRecord& record) const {
    const std::uint64_t number = record.sequence_number;
    return set_size <= 1 || number == 0 || number == sequence_number || number > set_size;
  }
};

/// A node is the image byte of a record: of a directory's record of itself, else of the (first)
/// record in the directory above. The root is its record in the descriptor.
class Iso9660Volume final : public Volume {
 public:
  explicit Iso9660Volume(VolumeSource source);

  [[nodiscard]] NodeId root() const override { return root_; }
  [[nodiscard]] Attributes attributes(NodeId node) override;
  void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) override;
  void each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  [[nodiscard]] std::string link_target(NodeId node) override;
  void each_run(FunctionRef<bool(const BlockRun&)> visit) override;
  void check_records() override;
  /// A disc of part of a tree keeps the count of names that its files had where they came from.
  [[nodiscard]] bool counts_names() const override { return false; }
  [[nodiscard]] std::uint64_t unit_bytes() const override { return source_.block_bytes(); }

 private:
  // What one each_entry() works with; kept for the next one.
  struct Listing {
    std::vector<std::byte> buffer;
    std::size_t usual_bytes = kSectorBytes;  // of a directory: as the last one, whole sectors
    SingleRecord first;                      // of several that make up a file
    RockFields rock;
    std::string name;
    bool plain_name = false;
    NodeId node = 0;
    Attributes attributes;
    bool attributes_known = false;  // else they stand elsewhere
    Extent extent;
    bool extent_known = false;  // else there are several, or they stand elsewhere
  };
  class ListingUse;

  [[nodiscard]] const DirectoryTree& tree() const { return source_.trees[source_.shown]; }
  [[nodiscard]] NodeId node_at(std::uint64_t place) const { return source_.view.start() + place; }
  void list(Listing& listing, DirectoryReader reader, bool is_root,
            FunctionRef<bool(const Entry&)> visit);
  bool hand_out(Listing& listing, const ParsedRecord& record, std::uint64_t bytes, bool in_root,
                FunctionRef<bool(const Entry&)> visit);
  std::uint64_t absorb_sections(Listing& listing, DirectoryReader& reader, ParsedRecord& record);
  std::string_view name_of(Listing& listing, const ParsedRecord& record, Charset& charset);
  struct Lead;
  Lead follow(const ParsedRecord& record, const RockFields& rock, bool in_root);
  bool belongs_elsewhere(std::uint64_t place, RockFields& rock);
  bool holds_only_relocated(DirectoryReader& reader, RockFields& rock);
  bool read_node(NodeId node, SingleRecord& record) const;
  std::size_t read_sectors(std::uint64_t place, std::size_t bytes,
                           std::vector<std::byte>& buffer) const;
  bool parse_first(std::span<const std::byte> buffer, std::size_t read, std::uint64_t place,
                   ParsedRecord& record) const;
  void set_attributes(const ParsedRecord& record, const RockFields& rock, std::uint64_t bytes,
                      Attributes& attributes);
  Attributes attributes_of(const ParsedRecord& record, const RockFields& rock,
                           std::uint64_t bytes) {
    Attributes attributes;
    set_attributes(record, rock, bytes, attributes);
    return attributes;
  }
  Attributes directory_attributes(NodeId node);
  void find_record_above(SingleRecord& self);
  void add_rock(const ParsedRecord& record, const RockFields& rock, Attributes& attributes);
  void add_xa(const ParsedRecord& record, Attributes& attributes) const;
  void add_attribute_record(const ParsedRecord& record, Attributes& attributes) const;
  void read_rock(const ParsedRecord& record, RockFields& rock);
  void report(const DirectoryReader& reader);
  [[nodiscard]] bool is_in_one_piece(const ParsedRecord& record) const;
  std::uint64_t section_bytes(const ParsedRecord& first) const;
  bool next_section(const ParsedRecord& section, SingleRecord& next) const;
  void add_section(const ParsedRecord& record, std::uint64_t offset, ExtentJoiner& joiner,
                   bool& wanted);

  VolumeSource source_;
  RockReader rock_;
  RecordingTimes times_;
  NodeId root_;
  std::vector<std::unique_ptr<Listing>> spare_;
  Listing* visited_ = nullptr;  // the listing whose entry is being visited
  RockFields looked_up_;
  SingleRecord looked_up_record_;
  bool said_compressed_ = false;
  bool said_sparse_ = false;
};

}  // namespace platter::filesystem::iso9660
