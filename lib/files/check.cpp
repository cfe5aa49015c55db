#include "files/check.h"

#include <algorithm>
#include <iterator>
#include <map>
#include <set>
#include <string>
#include <unordered_map>
#include <unordered_set>
#include <vector>

#include <fmt/format.h>

#include "files/content.h"
#include "files/walk.h"

namespace platter {
namespace {

constexpr std::uint64_t kSmallestUnit = 512;
// Beyond this many blocks their bits would take more than half a gigabyte.
constexpr std::uint64_t kMostUnits = std::uint64_t{1} << 32U;
constexpr std::size_t kMostTold = 64;
constexpr std::uint64_t kMostSmallIdentities = std::uint64_t{1} << 26U;
constexpr std::size_t kMostRecords = 1'000'000;
// One file maps at most the whole volume, but any number of files may map it. All of them together
// are followed over this many times the blocks that are there.
constexpr std::uint64_t kMostTimesOver = 16;
// So that a few files of a tiny volume are all told.
constexpr std::uint64_t kLeastEffort = 4096;

std::string blocks_words(std::uint64_t units) {
  return fmt::format("{} block{}", units, units == 1 ? "" : "s");
}

class Check {
 public:
  Check(Volume& volume, const View& view)
      : volume_(volume),
        view_(view),
        unit_(std::max(volume.unit_bytes(), kSmallestUnit)),
        origin_(view.start() + std::min(volume.unit_origin(), view.bytes())) {}

  VolumeCheck run() {
    volume_.check_records();
    collect();
    const std::uint64_t units = divide_up(view_.start() + view_.bytes() - origin_, unit_);
    const bool mapped = units <= kMostUnits;
    effort_ = saturating_add(saturating_mul(units, kMostTimesOver), kLeastEffort);
    effort_left_ = effort_;
    if (mapped) owned_.resize(static_cast<std::size_t>(units));
    note_records();
    own(volume_.root(), NodeType::directory, "the root directory", 0);
    const WalkResult walked = walk(
        volume_, volume_.root(), "", [this](const FileVisit& file) { return visit(file); },
        result_.findings);
    result_.files = walked.files;
    result_.directories = walked.directories;
    for (const bool owned : owned_)
      result_.owned_bytes += owned ? unit_ : 0;
    const bool given_up = effort_left_ == 0;
    if (given_up) {
      find(
          Severity::fault, FindingCode::extent_overlap, view_.start(), view_.bytes(),
          fmt::format("files own more than {} times the blocks that are there, expected each block "
                      "to have one owner; not all files were looked at",
                      kMostTimesOver));
    }
    name_the_owners();
    compare_names();
    if (mapped && !given_up) compare_with_maps();
    collect();
    return std::move(result_);
  }

 private:
  struct Run {
    std::uint64_t start;
    std::uint64_t bytes;
    [[nodiscard]] std::uint64_t end() const noexcept { return saturating_add(start, bytes); }
  };
  struct Names {
    std::uint64_t found = 0;
    std::uint64_t stated = 0;
    std::uint64_t place = 0;
    std::string path;
  };

  void collect() {
    std::ranges::move(volume_.take_findings(), std::back_inserter(result_.findings));
  }

  void find(Severity severity, FindingCode code, std::uint64_t at, std::uint64_t bytes,
            std::string message) {
    if (++told_[code] > kMostTold) return;
    result_.findings.push_back({severity, code, {}, at, bytes, std::move(message)});
  }

  Step visit(const FileVisit& file) {
    const Attributes& attributes = file.attributes;
    const bool directory = attributes.type == NodeType::directory;
    if (!directory && attributes.identity != 0) {
      const bool known = !first_seen(attributes.identity);
      if (volume_.counts_names() && (known || attributes.links.value_or(1) != 1)) {
        const auto [found, is_new] = names_.try_emplace(attributes.identity);
        Names& names = found->second;
        if (is_new) {
          names.found = known ? 1 : 0;
          names.stated = attributes.links.value_or(0);
          names.place = file.entry.place;
          names.path = file.path;
        }
        ++names.found;
      }
      if (known) return Step::go_on;  // its blocks were looked at under its first name
    }
    if (attributes.type == NodeType::unknown) {
      find(Severity::fault, FindingCode::filesystem_damaged, file.entry.place, 0,
           fmt::format("{} leads to nothing that is in use", printable(file.path)));
      return Step::skip;
    }
    own(file.entry.node, attributes.type, file.path, file.entry.place);
    return Step::go_on;
  }

  // Identities are inode numbers mostly, so one bit each does.
  bool first_seen(std::uint64_t identity) {
    if (identity >= kMostSmallIdentities) return seen_large_.insert(identity).second;
    const auto index = static_cast<std::size_t>(identity);
    if (index >= seen_.size()) seen_.resize(std::max(index + 1, seen_.size() * 2));
    const bool first = !seen_[index];
    seen_[index] = true;
    return first;
  }

  // Marks what a file owns; remembers what was marked before.
  void own(NodeId node, NodeType type, std::string_view path, std::uint64_t place) {
    if (effort_left_ == 0) return;
    std::uint64_t missing = 0;
    std::uint64_t first_missing = 0;
    std::uint64_t in_records = 0;
    last_of_file_ = kLargest;
    const auto take_present = [&](const Extent& extent) {
      mark(extent);
      // Directories are records where they lie: some maps say so.
      if (type != NodeType::directory && in_records == 0) in_records = place_in_records(extent);
      return spend(extent);
    };
    const auto take = [&](const Extent& extent) {
      if (!extent.absent) return take_present(extent);
      if (missing == 0) first_missing = extent.offset;
      missing = saturating_add(missing, extent.bytes);
      return spend(extent);
    };
    each_present_extent(volume_, view_, node, take);
    if (missing != 0) {
      find(Severity::fault, FindingCode::extent_beyond_end, place, 0,
           fmt::format("{}: {} bytes from {} on are not inside the volume", printable(path),
                       missing, first_missing));
    }
    volume_.each_further_block(
        node, [&](const Extent& extent) { return extent.absent || take_present(extent); });
    if (in_records != 0) {
      find(Severity::fault, FindingCode::extent_overlap, in_records, unit_,
           fmt::format("{} has blocks that hold the volume's own records", printable(path)));
    }
  }

  // False when files have been followed for long enough.
  bool spend(const Extent& extent) {
    const std::uint64_t units = extent.absent ? 1 : divide_up(extent.bytes, unit_);
    effort_left_ -= std::min(effort_left_, std::max<std::uint64_t>(units, 1));
    return effort_left_ != 0;
  }

  // Where the volume's maps say that it has its own records, or that the medium is bad. A boot
  // catalog is a record and a file of its disc; discs are told by their counts of names.
  void note_records() {
    if (!volume_.counts_names()) return;
    volume_.each_run([&](const BlockRun& run) {
      if (run.use == BlockUse::metadata || run.use == BlockUse::bad)
        records_.push_back({run.start, run.bytes});
      return records_.size() < kMostRecords;
    });
  }

  // Image byte where an extent first meets a whole unit of such records; 0: nowhere.
  [[nodiscard]] std::uint64_t place_in_records(const Extent& extent) const {
    if (extent.start < origin_ || (extent.start - origin_) % unit_ != 0) return 0;  // in an inode
    const std::uint64_t end = saturating_add(extent.start, extent.bytes);
    auto run = std::ranges::upper_bound(records_, extent.start, {}, &Run::end);
    for (; run != records_.end() && run->start < end; ++run) {
      const std::uint64_t first =
          origin_ + divide_up(run->start - std::min(run->start, origin_), unit_) * unit_;
      const std::uint64_t met = std::max(first, extent.start);
      if (met < end && fits_within(met, unit_, run->end())) return met;
    }
    return 0;
  }

  void mark(const Extent& extent) {
    if (owned_.empty() || extent.absent || extent.bytes == 0 || extent.start < origin_) return;
    const std::uint64_t start = extent.start - origin_;
    if (start % kSmallestUnit != 0) return;  // content inside an inode
    const std::uint64_t end = std::min<std::uint64_t>(
        divide_up(saturating_add(start, extent.bytes), unit_), owned_.size());
    // A file with holes may have two runs of blocks in one unit, one behind the other.
    std::uint64_t unit = start / unit_;
    if (start % unit_ != 0 && unit == last_of_file_) ++unit;
    for (; unit < end; ++unit) {
      const auto index = static_cast<std::size_t>(unit);
      last_of_file_ = unit;
      if (owned_[index]) {
        if (shared_.size() < kMostTold * 16) shared_.insert(unit);
      } else {
        owned_[index] = true;
      }
    }
  }

  // A second walk, only when blocks have two owners: which files are they?
  void name_the_owners() {
    if (shared_.empty()) return;
    effort_left_ = effort_;
    std::map<std::uint64_t, std::string> owners;
    std::unordered_set<std::uint64_t> seen;
    const auto note = [&](const Extent& extent, std::string_view path) {
      if (extent.absent || extent.start < origin_ || extent.bytes == 0) return;
      const std::uint64_t start = (extent.start - origin_) / unit_;
      const std::uint64_t end =
          divide_up(saturating_add(extent.start - origin_, extent.bytes), unit_);
      for (auto unit = shared_.lower_bound(start); unit != shared_.end() && *unit < end; ++unit) {
        std::string& names = owners[*unit];
        const std::string name = printable(path);
        if (names == name || names.ends_with(" and " + name)) continue;
        if (names.size() < 200) names += (names.empty() ? "" : " and ") + name;
      }
    };
    std::vector<Finding> again;
    walk(
        volume_, volume_.root(), "",
        [&](const FileVisit& file) {
          const std::uint64_t identity = file.attributes.identity;
          if (identity != 0 && !seen.insert(identity).second) return Step::go_on;
          const auto take = [&](const Extent& extent) {
            note(extent, file.path);
            return spend(extent);
          };
          each_present_extent(volume_, view_, file.entry.node, take);
          volume_.each_further_block(file.entry.node, take);
          return effort_left_ == 0 ? Step::stop : Step::go_on;
        },
        again);
    std::map<std::string, std::pair<std::uint64_t, std::uint64_t>> by_owners;  // first unit, count
    for (const auto& [unit, names] : owners) {
      auto& run = by_owners.try_emplace(names, unit, 0).first->second;
      ++run.second;
    }
    for (const auto& [names, run] : by_owners) {
      find(Severity::fault, FindingCode::extent_overlap, origin_ + run.first * unit_,
           run.second * unit_, fmt::format("{} in {}", blocks_words(run.second), names));
    }
  }

  void compare_names() {
    for (const auto& [identity, names] : names_) {
      if (names.stated == 0 || names.stated == names.found) continue;
      find(Severity::fault, FindingCode::links_differ, names.place, 0,
           fmt::format("{} states {} names, {} were found", printable(names.path), names.stated,
                       names.found));
    }
  }

  void compare_with_maps() {
    std::uint64_t lost = 0;
    std::uint64_t first_lost = 0;
    volume_.each_run([&](const BlockRun& run) {
      if (run.start < origin_ || (run.use != BlockUse::free && run.use != BlockUse::used)) {
        return true;
      }
      const std::uint64_t first = divide_up(run.start - origin_, unit_);
      const std::uint64_t end = std::min<std::uint64_t>(
          saturating_add(run.start - origin_, run.bytes) / unit_, owned_.size());
      const bool is_free = run.use == BlockUse::free;
      for (std::uint64_t unit = first; unit < end;) {
        std::uint64_t next = unit;
        const bool wrong = owned_[static_cast<std::size_t>(unit)] == is_free;
        while (next < end && (owned_[static_cast<std::size_t>(next)] == is_free) == wrong)
          ++next;
        if (wrong && is_free) {
          find(Severity::fault, FindingCode::blocks_free_in_use, origin_ + unit * unit_,
               (next - unit) * unit_,
               fmt::format("{} that files own are free by the maps", blocks_words(next - unit)));
        } else if (wrong) {
          if (lost == 0) first_lost = unit;
          lost += next - unit;
        }
        unit = next;
      }
      return true;
    });
    if (lost != 0) {
      find(Severity::caution, FindingCode::blocks_unaccounted, origin_ + first_lost * unit_, unit_,
           fmt::format("{} of {} bytes are in use and belong to no file", blocks_words(lost),
                       unit_));
    }
  }

  Volume& volume_;
  const View& view_;
  std::uint64_t unit_;
  std::uint64_t origin_;  // image byte of unit 0
  VolumeCheck result_;
  std::vector<bool> owned_;
  std::uint64_t last_of_file_ = kLargest;  // unit that the file at hand was given last
  std::vector<Run> records_;               // of the volume itself, by rising place
  std::set<std::uint64_t> shared_;         // units with more than one owner
  std::vector<bool> seen_;                 // by identity
  std::unordered_set<std::uint64_t> seen_large_;
  // Files that should have more than one name, or have: few.
  std::unordered_map<std::uint64_t, Names> names_;
  std::map<FindingCode, std::size_t> told_;
  std::uint64_t effort_ = 0;  // units that files are followed over, in all
  std::uint64_t effort_left_ = 0;
};

}  // namespace

VolumeCheck check_volume(Volume& volume, const View& view) {
  return Check(volume, view).run();
}

}  // namespace platter
