// The TOML reader of plan files. The only file that sees a TOML type.
#include <algorithm>
#include <array>
#include <set>

#include <fmt/format.h>

// The parser asserts that a key starts with a key character and checks it properly a few lines
// later. A plan file is not ours: the check shall answer, not the assertion; and with NDEBUG and
// some compilers that assertion becomes an assumption, which a broken file would make wrong.
#pragma push_macro("NDEBUG")
#undef NDEBUG
#define TOML_ASSERT(condition) static_cast<void>(0)
#define TOML_HEADER_ONLY 1
#define TOML_ENABLE_FORMATTERS 0
#include <toml++/toml.h>
#pragma pop_macro("NDEBUG")

#include "core/charset.h"
#include "core/numbers.h"
#include "plan/capacity.h"
#include "plan/nearest.h"
#include "plan/plan.h"

namespace platter::plan {
namespace {

constexpr std::size_t kMostRegions = 256;

TextPlace place_of(const toml::source_region& source) {
  return {source.begin.line, source.begin.column};
}

TextPlace place_of(const toml::node& node) {
  return place_of(node.source());
}

std::string quoted(std::string_view text) {
  return fmt::format("'{}'", printable(text));
}

std::string list_of(std::span<const std::string_view> words) {
  std::string list;
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (i > 0) list += i + 1 == words.size() ? " or " : ", ";
    list += fmt::format("\"{}\"", words[i]);
  }
  return list;
}

// One table of the file: takes values out by key and complains about what is not as it should be.
class TableReader {
 public:
  TableReader(const toml::table& table, std::string_view title, std::vector<Complaint>& complaints)
      : table_(table), title_(title), complaints_(complaints) {}

  void refuse_other_keys(std::span<const std::string_view> known) {
    for (const auto& [key, value] : table_) {
      const std::string_view name = key.str();
      if (std::ranges::find(known, name) != known.end()) continue;
      complain(place_of(key.source()),
               fmt::format("unknown key {} in {}; the nearest known key is '{}'", quoted(name),
                           title_, nearest_word(name, known)));
    }
  }

  MaybeWritten<std::string> text(std::string_view key) {
    const toml::node* node = table_.get(key);
    if (node == nullptr) return {};
    const auto* value = node->as_string();
    if (value == nullptr) {
      complain(place_of(*node), fmt::format("{} must be a text in quotes", key));
      return {};
    }
    if (value->get().find('\0') != std::string::npos) {
      complain(place_of(*node), fmt::format("{} must not hold a NUL character", key));
      return {};
    }
    return Written<std::string>{value->get(), place_of(*node)};
  }

  MaybeWritten<std::string> path(std::string_view key) {
    auto value = text(key);
    if (value && value->value.empty()) {
      complain(value->place, fmt::format("{} must not be empty", key));
      return {};
    }
    return value;
  }

  // One of a few words; the index of it.
  std::optional<std::size_t> one_of(std::string_view key, std::span<const std::string_view> words) {
    const auto value = text(key);
    if (!value) return {};
    const auto found = std::ranges::find(words, value->value);
    if (found != words.end()) return static_cast<std::size_t>(found - words.begin());
    complain(value->place,
             fmt::format("{} must be {}, found {}", key, list_of(words), quoted(value->value)));
    return {};
  }

  MaybeWritten<std::uint64_t> whole(std::string_view key, std::uint64_t low, std::uint64_t high) {
    const toml::node* node = table_.get(key);
    if (node == nullptr) return {};
    const auto* value = node->as_integer();
    if (value == nullptr) {
      complain(place_of(*node), fmt::format("{} must be a whole number", key));
      return {};
    }
    const std::int64_t number = value->get();
    if (number < 0 || static_cast<std::uint64_t>(number) < low ||
        static_cast<std::uint64_t>(number) > high) {
      complain(place_of(*node),
               fmt::format("{} must be {} to {}, found {}", key, low, high, number));
      return {};
    }
    return Written<std::uint64_t>{static_cast<std::uint64_t>(number), place_of(*node)};
  }

  // A size or position in bytes: a text with a unit, or a whole number of blocks.
  MaybeWritten<std::uint64_t> size(std::string_view key, bool may_be_zero) {
    const toml::node* node = table_.get(key);
    if (node == nullptr) return {};
    const TextPlace place = place_of(*node);
    Parsed<std::uint64_t> bytes;
    if (const auto* words = node->as_string()) {
      bytes = parse_size(words->get());
    } else if (const auto* number = node->as_integer()) {
      bytes = parse_size(fmt::format("{}", number->get()));
    } else {
      bytes.error = "must be a text with a unit or a whole number of blocks";
    }
    if (bytes && *bytes.value == 0 && !may_be_zero) bytes = {{}, "must not be 0"};
    if (!bytes) {
      complain(place, fmt::format("{}: {}", key, bytes.error));
      return {};
    }
    return Written<std::uint64_t>{*bytes.value, place};
  }

  [[nodiscard]] const toml::node* get(std::string_view key) const { return table_.get(key); }
  [[nodiscard]] TextPlace place() const { return place_of(table_); }

  void complain(TextPlace place, std::string message) {
    complaints_.push_back({place, std::move(message)});
  }

 private:
  const toml::table& table_;
  std::string_view title_;
  std::vector<Complaint>& complaints_;
};

MaybeWritten<WrittenGeometry> read_geometry(const TableReader& region,
                                            std::vector<Complaint>& complaints) {
  constexpr std::string_view kKeys[] = {"cylinders", "heads", "sectors_per_track"};
  const toml::node* node = region.get("geometry");
  if (node == nullptr) return {};
  const toml::table* table = node->as_table();
  if (table == nullptr) {
    complaints.push_back(
        {place_of(*node), "geometry must be a table like { heads = 16, sectors_per_track = 63 }"});
    return {};
  }
  const std::size_t before = complaints.size();
  TableReader reader(*table, "geometry", complaints);
  reader.refuse_other_keys(kKeys);
  const auto cylinders = reader.whole("cylinders", 1, kMaxCylinders);
  const auto heads = reader.whole("heads", 1, kMaxHeads);
  const auto sectors = reader.whole("sectors_per_track", 1, kMaxSectors);
  for (const std::string_view key : {kKeys[1], kKeys[2]}) {
    if (reader.get(key) == nullptr) {
      reader.complain(place_of(*node), fmt::format("geometry needs {}", key));
    }
  }
  if (complaints.size() != before) return {};
  WrittenGeometry geometry{{}, heads->value, sectors->value};
  if (cylinders) geometry.cylinders = cylinders->value;
  return Written<WrittenGeometry>{geometry, place_of(*node)};
}

void read_card_size(WrittenPlan& plan, TableReader& reader) {
  plan.card_size = reader.size("size", false);
  const auto csd = reader.text("csd");
  if (!csd) return;
  if (reader.get("size") != nullptr) {
    reader.complain(csd->place, "csd and size both state the size of the card; keep one");
    return;
  }
  const auto bytes = card_bytes_of_csd_text(csd->value);
  if (!bytes) {
    reader.complain(csd->place, "csd: " + bytes.error);
    return;
  }
  plan.card_size = Written<std::uint64_t>{*bytes.value, csd->place};
}

void read_card(const toml::node& node, ReadPlan& result) {
  constexpr std::string_view kKeys[] = {"path", "size", "csd", "align", "bus", "initiator_id"};
  constexpr std::string_view kBuses[] = {"narrow", "wide"};
  const toml::table* table = node.as_table();
  if (table == nullptr) {
    result.complaints.push_back({place_of(node), "card must be a table: [card]"});
    return;
  }
  TableReader reader(*table, "[card]", result.complaints);
  reader.refuse_other_keys(kKeys);
  WrittenPlan& plan = result.plan;
  plan.card_place = reader.place();
  plan.card_path = reader.path("path");
  read_card_size(plan, reader);
  if (const auto align = reader.size("align", false)) plan.align = align->value;
  plan.bus = reader.one_of("bus", kBuses).value_or(0) == 1 ? Bus::wide : Bus::narrow;
  const auto initiator = reader.whole("initiator_id", 0, highest_bus_id(plan.bus));
  if (initiator) plan.initiator_id = initiator->value;
}

// The label ids that have a row of field widths.
std::vector<std::string_view> label_words() {
  std::vector<std::string_view> words;
  for (const LabelWidths& widths : label_widths())
    words.push_back(widths.label);
  return words;
}

WrittenRegion read_region(const toml::table& table, Bus bus, std::vector<Complaint>& complaints) {
  constexpr std::string_view kKeys[] = {"name",  "device",  "bus_id",      "start",
                                        "align", "size",    "block_bytes", "geometry",
                                        "image", "machine", "label"};
  constexpr std::string_view kDevices[] = {"disk", "optical"};
  constexpr std::uint64_t kBlockSizes[] = {512, 1024, 2048, 4096};
  TableReader reader(table, "[[region]]", complaints);
  reader.refuse_other_keys(kKeys);
  WrittenRegion region;
  region.place = reader.place();
  if (const auto name = reader.path("name")) {
    region.name = name->value;
  } else if (reader.get("name") == nullptr) {
    reader.complain(region.place, "[[region]] needs a name");
  }
  const auto device = reader.one_of("device", kDevices);
  if (reader.get("device") == nullptr) {
    reader.complain(region.place, "[[region]] needs a device, \"disk\" or \"optical\"");
  }
  region.device = device.value_or(0) == 1 ? Device::optical : Device::disk;
  region.bus_id = reader.whole("bus_id", 0, highest_bus_id(bus));
  region.start = reader.size("start", true);
  region.align = reader.size("align", false);
  region.size = reader.size("size", false);
  region.block_bytes = reader.whole("block_bytes", 1, kBlockSizes[3]);
  if (region.block_bytes &&
      std::ranges::find(kBlockSizes, region.block_bytes->value) == std::end(kBlockSizes)) {
    reader.complain(region.block_bytes->place,
                    fmt::format("block_bytes must be 512, 1024, 2048 or 4096, found {}",
                                region.block_bytes->value));
  }
  region.geometry = read_geometry(reader, complaints);
  region.image = reader.path("image");
  region.machine = reader.path("machine");
  const auto labels = label_words();
  if (const auto label = reader.one_of("label", labels)) region.label = reader.text("label");
  return region;
}

void read_regions(const toml::node& node, ReadPlan& result) {
  const toml::array* array = node.as_array();
  if (array == nullptr) {
    result.complaints.push_back({place_of(node), "region must be a list of tables: [[region]]"});
    return;
  }
  if (array->size() > kMostRegions) {
    result.complaints.push_back(
        {place_of(node), fmt::format("the plan has {} regions, more than {} are not understood",
                                     array->size(), kMostRegions)});
    return;
  }
  std::set<std::string> names;
  for (const toml::node& element : *array) {
    const toml::table* table = element.as_table();
    if (table == nullptr) {
      result.complaints.push_back(
          {place_of(element), "region must be a list of tables: [[region]]"});
      continue;
    }
    result.plan.regions.push_back(read_region(*table, result.plan.bus, result.complaints));
    const WrittenRegion& region = result.plan.regions.back();
    if (!region.name.empty() && !names.insert(region.name).second) {
      result.complaints.push_back(
          {region.place, fmt::format("a second region has the name {}", quoted(region.name))});
    }
  }
}

void read_tables(const toml::table& root, ReadPlan& result) {
  constexpr std::string_view kKeys[] = {"card", "region"};
  TableReader reader(root, "the plan", result.complaints);
  reader.refuse_other_keys(kKeys);
  if (const toml::node* card = reader.get("card")) {
    read_card(*card, result);
  } else {
    reader.complain({}, "the plan has no [card]");
  }
  if (const toml::node* regions = reader.get("region")) {
    read_regions(*regions, result);
  } else {
    reader.complain({}, "the plan has no [[region]]");
  }
}

}  // namespace

ReadPlan read_plan(std::string_view text) {
  ReadPlan result;
  try {
    read_tables(toml::parse(text), result);
  } catch (const toml::parse_error& error) {
    result.complaints.push_back(
        {place_of(error.source()), fmt::format("this is no TOML: {}", error.description())});
  }
  std::ranges::stable_sort(result.complaints, {}, [](const Complaint& complaint) {
    return std::pair(complaint.place.line, complaint.place.column);
  });
  return result;
}

std::string complaint_text(std::string_view path, const Complaint& complaint) {
  return fmt::format("{}:{}:{}: {}", printable(path), complaint.place.line, complaint.place.column,
                     printable(complaint.message));
}

}  // namespace platter::plan
