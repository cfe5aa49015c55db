// Listing of ISO 9660 and High Sierra volumes.
#include "filesystem/iso9660_volume.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

#include "core/name_scan.h"
#include "filesystem/iso9660_names.h"

namespace platter::filesystem::iso9660 {

// Takes a listing from the spare ones and gives it back, and remembers whose entries are visited:
// a visitor may list another directory.
class Iso9660Volume::ListingUse {
 public:
  explicit ListingUse(Iso9660Volume& volume) : volume_(volume), outer_(volume.visited_) {
    if (volume.spare_.empty()) {
      listing_ = std::make_unique<Listing>();
    } else {
      listing_ = std::move(volume.spare_.back());
      volume.spare_.pop_back();
    }
  }
  ListingUse(const ListingUse&) = delete;
  ListingUse& operator=(const ListingUse&) = delete;
  ~ListingUse() {
    volume_.visited_ = outer_;
    volume_.spare_.push_back(std::move(listing_));
  }
  Listing& get() { return *listing_; }

 private:
  Iso9660Volume& volume_;
  Listing* outer_;
  std::unique_ptr<Listing> listing_;
};

Iso9660Volume::Iso9660Volume(VolumeSource source)
    : source_(std::move(source)),
      rock_(source_.view, source_.block_bytes(), source_.volume_bytes()),
      root_(node_at(tree().root_record)) {}

bool Iso9660Volume::read_node(NodeId node, SingleRecord& record) const {
  const View& view = source_.view;
  if (node < view.start() || node - view.start() >= view.bytes()) return false;
  return record.read(view, source_.dialect, node - view.start());
}

void Iso9660Volume::report(const DirectoryReader& reader) {
  find(Severity::fault, FindingCode::filesystem_damaged, node_at(reader.place()), 1,
       reader.words());
}

void Iso9660Volume::read_rock(const ParsedRecord& record, RockFields& rock) {
  if (!source_.rock_ridge_shown) {
    rock.clear();
    return;
  }
  rock_.read(record, tree().skip, rock);
  if (!rock.trouble.empty()) {
    find(Severity::caution, FindingCode::filesystem_damaged, node_at(rock.trouble_place),
         kSuspHead.bytes, std::string(rock.trouble));
  }
}

void Iso9660Volume::each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) {
  ListingUse use(*this);
  Listing& listing = use.get();
  const View& view = source_.view;
  const std::uint64_t root_place = tree().root_place();
  if (directory == root()) {
    const std::uint64_t bytes = tree().shape.root_bytes;
    list(listing, {view, source_.dialect, root_place, bytes, listing.buffer}, true, visit);
    return;
  }
  if (directory < view.start() || directory - view.start() >= view.bytes()) return;
  // Its record of itself says how long it is; most often the rest is there at once.
  const std::uint64_t place = directory - view.start();
  const std::size_t read = read_sectors(place, listing.usual_bytes, listing.buffer);
  ParsedRecord record;
  if (parse_first(listing.buffer, read, place, record)) {
    const std::uint64_t sectors = divide_up(record.bytes, kSectorBytes);
    listing.usual_bytes = static_cast<std::size_t>(
        std::clamp<std::uint64_t>(sectors * kSectorBytes, kSectorBytes, DirectoryReader::kChunk));
    list(listing, {view, source_.dialect, place, record.bytes, listing.buffer, read},
         place == root_place, visit);
    return;
  }
  SingleRecord above;
  if (!above.read(view, source_.dialect, place)) return;
  read_rock(above.get(), listing.rock);
  if (!above.get().is_directory() && !listing.rock.child) return;
  const std::uint64_t missing = listing.rock.child
                                    ? saturating_mul(*listing.rock.child, source_.block_bytes())
                                    : source_.data_place(above.get());
  if (missing >= view.bytes() && missing < source_.volume_bytes()) return;  // a cut image
  find(Severity::fault, FindingCode::filesystem_damaged, directory, above.get().all.size(),
       fmt::format("the directory at byte {} of the volume does not begin with a record of itself",
                   missing));
}

// Returns how many bytes from `place` on are in the buffer then.
std::size_t Iso9660Volume::read_sectors(std::uint64_t place, std::size_t bytes,
                                        std::vector<std::byte>& buffer) const {
  if (buffer.size() < bytes) buffer.resize(bytes);
  return source_.view.read(place, std::span(buffer).first(bytes));
}

// Whether a directory begins at the front of the buffer.
bool Iso9660Volume::parse_first(std::span<const std::byte> buffer, std::size_t read,
                                std::uint64_t place, ParsedRecord& record) const {
  const auto sector = buffer.first(std::min<std::size_t>(read, kSectorBytes));
  return parse_record(source_.dialect, sector, place, record) == RecordState::good &&
         record.is_self() && record.is_directory();
}

void Iso9660Volume::list(Listing& listing, DirectoryReader reader, bool is_root,
                         FunctionRef<bool(const Entry&)> visit) {
  ParsedRecord record;
  for (;;) {
    const auto step = reader.next(record);
    if (step == DirectoryReader::Step::end) return;
    if (step == DirectoryReader::Step::broken) {
      report(reader);
      continue;
    }
    if (record.is_self() || record.is_parent()) continue;
    std::uint64_t total = record.bytes;
    if (record.goes_on() && !record.is_directory())
      total = absorb_sections(listing, reader, record);
    if (!hand_out(listing, record, total, is_root, visit)) return;
  }
}

// Goes past the further sections of a file and returns its length. `record` stays the first one.
std::uint64_t Iso9660Volume::absorb_sections(Listing& listing, DirectoryReader& reader,
                                             ParsedRecord& record) {
  listing.first.keep(source_.dialect, record);
  record = listing.first.get();
  std::uint64_t total = record.bytes;
  ParsedRecord next = record;
  while (next.goes_on()) {
    if (reader.peek(next) != DirectoryReader::Step::record || !next.same_file(record)) {
      find(Severity::fault, FindingCode::filesystem_damaged, node_at(record.place),
           record.all.size(), "a file goes on in a further section, but none follows its record");
      break;
    }
    reader.advance();
    total = saturating_add(total, next.bytes);
  }
  return total;
}

// Where the record of a directory leads.
struct Iso9660Volume::Lead {
  NodeId node = 0;
  std::optional<std::uint64_t> bytes = {};  // as the record of itself says that was found there
  bool only_relocated = false;  // it exists only for directories that are shown elsewhere
};

Iso9660Volume::Lead Iso9660Volume::follow(const ParsedRecord& record, const RockFields& rock,
                                          bool in_root) {
  const std::uint64_t place =
      rock.child ? saturating_mul(*rock.child, source_.block_bytes()) : source_.data_place(record);
  if (place == tree().root_place()) return {.node = root()};
  if (place >= source_.view.bytes()) return {.node = node_at(record.place)};
  ListingUse use(*this);
  Listing& listing = use.get();
  // Directories for relocated ones lie in the root.
  const bool look_inside = in_root && source_.rock_ridge_shown && !rock.child;
  const std::size_t wanted = look_inside ? std::size_t{kSectorBytes} : SingleRecord::kMostBytes;
  const std::size_t read = read_sectors(place, wanted, listing.buffer);
  ParsedRecord self;
  if (!parse_first(listing.buffer, read, place, self)) return {.node = node_at(record.place)};
  Lead lead{.node = node_at(place), .bytes = self.bytes};
  if (look_inside) {
    DirectoryReader reader(source_.view, source_.dialect, place, self.bytes, listing.buffer, read);
    lead.only_relocated = holds_only_relocated(reader, listing.rock);
  }
  return lead;
}

// Whether a directory's record of its parent says that it was moved here. Not every maker marks the
// record in the directory above as well.
bool Iso9660Volume::belongs_elsewhere(std::uint64_t place, RockFields& rock) {
  SingleRecord self;
  SingleRecord parent;
  if (place >= source_.view.bytes() || !self.read(source_.view, source_.dialect, place) ||
      !self.begins_directory() ||
      !parent.read(source_.view, source_.dialect, place + self.get().all.size()) ||
      !parent.get().is_parent()) {
    return false;
  }
  rock_.read(parent.get(), tree().skip, rock);
  return rock.parent.has_value();
}

bool Iso9660Volume::holds_only_relocated(DirectoryReader& reader, RockFields& rock) {
  ParsedRecord record;
  bool any = false;
  for (auto step = reader.next(record); step == DirectoryReader::Step::record;
       step = reader.next(record)) {
    if (record.is_self() || record.is_parent()) continue;
    rock_.read(record, tree().skip, rock);
    const bool relocated = rock.relocated || (record.is_directory() && !rock.child &&
                                              belongs_elsewhere(source_.data_place(record), rock));
    if (!relocated) return false;
    any = true;
  }
  return any;
}

bool Iso9660Volume::hand_out(Listing& listing, const ParsedRecord& record, std::uint64_t bytes,
                             bool in_root, FunctionRef<bool(const Entry&)> visit) {
  read_rock(record, listing.rock);
  if (listing.rock.relocated) return true;
  listing.node = node_at(record.place);
  std::optional<std::uint64_t> own_bytes;
  if (record.is_directory() || listing.rock.child) {
    const Lead lead = follow(record, listing.rock, in_root);
    if (lead.only_relocated) return true;
    listing.node = lead.node;
    own_bytes = lead.bytes;
  }
  listing.attributes_known = !listing.rock.child && listing.node != root();
  if (listing.attributes_known) {
    set_attributes(record, listing.rock, bytes, listing.attributes);
    // A directory is as long as its record of itself says, which is the one that is followed.
    if (own_bytes) listing.attributes.bytes = *own_bytes;
  }
  listing.extent = {};
  listing.extent_known = listing.attributes_known && (own_bytes || is_in_one_piece(record));
  if (own_bytes) {
    listing.extent = {.start = listing.node, .bytes = *own_bytes};
  } else if (listing.extent_known && listing.attributes.type == NodeType::file) {
    listing.extent = {.start = node_at(source_.data_place(record)), .bytes = record.bytes};
  }
  Charset charset = tree().charset;
  const std::string_view name = name_of(listing, record, charset);
  if (name.empty()) {
    find(Severity::fault, FindingCode::name_illegal, node_at(record.place), record.all.size(),
         "a directory record has no name; it is left out");
    return true;
  }
  visited_ = &listing;
  return visit({.name = name,
                .charset = charset,
                .node = listing.node,
                .place = node_at(record.place),
                .attributes = listing.attributes_known ? &listing.attributes : nullptr,
                .extent = listing.extent_known ? &listing.extent : nullptr,
                .plain = listing.plain_name});
}

std::string_view Iso9660Volume::name_of(Listing& listing, const ParsedRecord& record,
                                        Charset& charset) {
  listing.plain_name =
      listing.rock.has_name && !record.is_associated() && is_plain_name(listing.rock.name);
  if (listing.plain_name) return listing.rock.name;  // as most are
  std::string_view name;
  if (listing.rock.has_name) {
    name = listing.rock.name;
    if (is_impossible_name(name, charset)) {
      find(Severity::caution, FindingCode::name_illegal, node_at(record.place), record.all.size(),
           "a Rock Ridge name cannot be a name in a directory; the plain one is shown");
      name = {};
    }
  }
  if (name.empty()) {
    name = shown_identifier(record, charset);
    if (is_impossible_name(name, charset)) {
      find(Severity::caution, FindingCode::name_illegal, node_at(record.place), record.all.size(),
           "an identifier cannot be a name in a directory");
    }
  }
  if (!needs_suffix(name, charset, record.is_associated())) return name;
  listing.name = name;
  add_suffix(listing.name, charset, record.is_associated());
  return listing.name;
}

Attributes Iso9660Volume::attributes(NodeId node) {
  if (visited_ != nullptr && visited_->node == node && visited_->attributes_known) {
    return visited_->attributes;
  }
  if (node == root()) return directory_attributes(node);
  if (!read_node(node, looked_up_record_)) return {};
  const bool directory = looked_up_record_.begins_directory();
  const std::uint64_t directory_bytes = looked_up_record_.get().bytes;
  if (directory) find_record_above(looked_up_record_);
  const ParsedRecord& record = looked_up_record_.get();
  if (record.is_parent()) return {};
  read_rock(record, looked_up_);
  Attributes attributes = attributes_of(record, looked_up_, section_bytes(record));
  if (directory) attributes.bytes = directory_bytes;
  return attributes;
}

// From a directory's record of itself to the one in the directory above, which some makers fill
// with more care. One that was moved, or whose parent does not know it, keeps the record of itself.
void Iso9660Volume::find_record_above(SingleRecord& self) {
  const std::uint64_t place = self.get().place;
  SingleRecord parent;
  if (!parent.read(source_.view, source_.dialect, place + self.get().all.size()) ||
      !parent.get().is_parent()) {
    return;
  }
  read_rock(parent.get(), looked_up_);
  const std::uint64_t above = source_.data_place(parent.get());
  if (looked_up_.parent || above >= source_.view.bytes()) return;
  ListingUse use(*this);
  DirectoryReader reader(source_.view, source_.dialect, above, parent.get().bytes,
                         use.get().buffer);
  ParsedRecord record;
  for (auto step = reader.next(record); step != DirectoryReader::Step::end;
       step = reader.next(record)) {
    if (step != DirectoryReader::Step::record || record.is_self() || record.is_parent()) continue;
    if (!record.is_directory() || source_.data_place(record) != place) continue;
    self.keep(source_.dialect, record);
    return;
  }
}

// Of the root: its place and length come from the descriptor, the rest from the directory itself.
Attributes Iso9660Volume::directory_attributes(NodeId node) {
  const std::uint64_t place = tree().root_place();
  const bool self_there = place < source_.view.bytes() &&
                          looked_up_record_.read(source_.view, source_.dialect, place) &&
                          looked_up_record_.begins_directory();
  Attributes attributes{.type = NodeType::directory};
  if (self_there || read_node(node, looked_up_record_)) {
    read_rock(looked_up_record_.get(), looked_up_);
    attributes = attributes_of(looked_up_record_.get(), looked_up_, 0);
  }
  attributes.type = NodeType::directory;
  attributes.bytes = tree().shape.root_bytes;
  return attributes;
}

std::string Iso9660Volume::link_target(NodeId node) {
  if (visited_ != nullptr && visited_->node == node && visited_->attributes_known) {
    return visited_->attributes.type == NodeType::symlink ? visited_->rock.target : std::string();
  }
  if (node == root() || !read_node(node, looked_up_record_)) return {};
  read_rock(looked_up_record_.get(), looked_up_);
  const Attributes found = attributes_of(looked_up_record_.get(), looked_up_, 0);
  return found.type == NodeType::symlink ? looked_up_.target : std::string();
}

}  // namespace platter::filesystem::iso9660
