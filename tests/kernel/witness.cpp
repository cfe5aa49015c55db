#include "kernel/witness.h"

#include <algorithm>
#include <exception>
#include <set>
#include <stdexcept>

#include <fmt/format.h>

#include "files/walk.h"
#include "formats.h"
#include "job/volumes.h"
#include "support/survey.h"

namespace platter::test {
namespace {

constexpr std::uint64_t kBlock = 512;

// platter's slices of that label, with the kernel's numbers where they are known.
std::vector<GuestSlice> slices_of(const TableImage& table) {
  std::vector<GuestSlice> slices;
  const Survey survey = survey_bytes(table.image);
  const Layer* label = layer(survey, table.outer.empty() ? table.name : table.outer);
  if (label == nullptr) throw std::runtime_error("platter finds no label " + table.name);
  const auto take = [&](const Layer& one) {
    if (one.kind != LayerKind::slice) return;
    const bool dropped = one.role == SliceRole::whole_disk || one.role == SliceRole::unused;
    if (table.outer.empty() ? one.format != table.name : dropped) return;
    GuestSlice slice;
    const std::string id = one.id.substr(one.id.rfind('/') + 1);
    if (table.number != nullptr) slice.number = table.number(id);
    slice.first = one.start / kBlock;
    slice.blocks = one.bytes / kBlock;
    // Linux block/partitions/msdos.c shows two blocks of an extended partition, whatever its size.
    if (one.role == SliceRole::container) slice.blocks = 2;
    slices.push_back(slice);
  };
  for_each_layer(label->layers, take);
  std::ranges::sort(slices);
  return slices;
}

Devices devices_in(Volume& volume) {
  Devices devices;
  std::vector<Finding> findings;
  walk(
      volume, volume.root(), "",
      [&](const FileVisit& visit) {
        const std::optional<DeviceNumber>& device = visit.attributes.device;
        if (device) devices[std::string(visit.path)] = *device;
        return Step::go_on;
      },
      findings);
  return devices;
}

// Applies the habits; those that change neither listing are idle.
void show_as_driver(WitnessedVolume& one) {
  for (const DriverHabit& habit : one.image.habits) {
    if (habit.undo != nullptr) {
      const Listing before = one.theirs;
      habit.undo(one.theirs);
      if (one.theirs == before) one.idle_habits.push_back(habit.words);
    }
    if (habit.apply == nullptr) continue;
    const Listing ours = one.ours;
    const std::optional<Listing> given = one.given;
    habit.apply(one.ours);
    if (one.given) habit.apply(*one.given);
    if (one.ours == ours && one.given == given) one.idle_habits.push_back(habit.words);
  }
}

// What platter reads: of the whole image, or of a slice as `--in LAYER` takes it.
Listing read_by_platter(const VolumeImage& image) {
  const VolumeOptions options = {.names = image.names};
  if (image.slice.empty()) {
    const View view = view_of(image.image);
    const auto volume = open_volume(image.format, view, options);
    return {tree_of_volume(*volume, view), devices_in(*volume)};
  }
  Image disk;
  disk.bytes = disk.stored_bytes = image.image.size();
  disk.source = std::make_shared<MemorySource>(image.image);
  const StraightSurvey survey = survey_straight(disk);
  const Volumes volumes = open_volumes(survey, image.slice, options);
  if (volumes.open.size() != 1 || volumes.open[0].layer->id != image.slice + "/" + image.format) {
    throw std::runtime_error(fmt::format("platter finds {} volumes in {}, expected one of {}",
                                         volumes.open.size(), image.slice, image.format));
  }
  const OpenVolume& open = volumes.open[0];
  return {tree_of_volume(*open.volume, open.view), devices_in(*open.volume)};
}

WitnessedVolume compared(VolumeImage image, const GuestAnswer& answer) {
  WitnessedVolume one;
  one.ours = read_by_platter(image);
  one.theirs = {answer.tree, answer.devices};
  if (image.given && image.given_names) {
    one.given = Listing{tree_of(*image.given), devices_of(*image.given)};
  }
  one.answer = answer;
  one.image = std::move(image);
  show_as_driver(one);
  const TreeView& kept = one.image.kept;
  one.ours.tree = seen_as(std::move(one.ours.tree), kept);
  one.theirs.tree = seen_as(std::move(one.theirs.tree), kept);
  if (one.given) one.given->tree = seen_as(std::move(one.given->tree), kept);
  return one;
}

std::string words_of(const Devices& devices) {
  std::string all;
  for (const auto& [path, number] : devices)
    all += fmt::format("{} {}/{} ", path, number.major, number.minor);
  return all;
}

std::string differences(const Listing& ours, const Listing& theirs) {
  std::string text = test::differences(ours.tree, theirs.tree);
  if (ours.devices != theirs.devices) {
    text += fmt::format("devices:\n  ours   {}\n  theirs {}\n", words_of(ours.devices),
                        words_of(theirs.devices));
  }
  return text;
}

bool is_explained(const std::string& warning, const VolumeImage& image) {
  // "XFS (vda): words": the disk's letters are the emulator's.
  const std::size_t disk = warning.find("): ");
  const auto begins = [&](const std::string& with) {
    if (with.empty()) return false;
    return warning.starts_with(with) ||
           (disk != std::string::npos && warning.substr(disk + 3).starts_with(with));
  };
  return begins(image.announced) ||
         std::ranges::any_of(image.habits,
                             [&](const DriverHabit& habit) { return begins(habit.warning); });
}

Witnessed ask() {
  Witnessed all;
  std::vector<VolumeImage> volumes;
  std::vector<GuestJob> jobs;
  GuestAnswers answers;
  try {
    volumes = written_images();
    for (VolumeImage& image : maker_images())
      volumes.push_back(std::move(image));
    for (VolumeImage& image : slice_images())
      volumes.push_back(std::move(image));
    for (const TableImage& table : table_images())
      jobs.push_back({table.name, table.image});
    std::set<std::string> disks;
    for (const VolumeImage& image : volumes) {
      const bool brought = !image.disk.empty() && !disks.insert(image.disk).second;
      jobs.push_back({image.name, brought ? std::vector<std::byte>{} : image.image, image.type,
                      image.options, image.disk, image.number});
    }
    answers = ask_kernel(jobs);
    for (const TableImage& table : table_images())
      all.tables.push_back({&table, slices_of(table), answers.by_name[table.name]});
  } catch (const std::exception& problem) {
    all.trouble = problem.what();
    return all;
  }
  for (WitnessedTable& table : all.tables) {
    if (table.image->number != nullptr) continue;
    for (GuestSlice& slice : table.theirs.slices)
      slice.number = 0;
    std::ranges::sort(table.theirs.slices);
  }
  all.kernel = answers.kernel;
  try {
    for (VolumeImage& image : volumes) {
      const GuestAnswer& answer = answers.by_name[image.name];
      all.volumes.push_back(compared(std::move(image), answer));
    }
  } catch (const std::exception& problem) {
    all.trouble = problem.what();
  }
  return all;
}

}  // namespace

std::string WitnessedVolume::disagreement() const {
  std::string text;
  if (!answer.answered) text += "no answer\n";
  for (const std::string& problem : answer.problems)
    text += "problem: " + problem + "\n";
  for (const std::string& warning : answer.warnings) {
    if (!is_explained(warning, image)) text += "kernel: " + warning + "\n";
  }
  const bool told = std::ranges::any_of(answer.warnings, [&](const std::string& warning) {
    return warning.starts_with(image.announced);
  });
  if (!image.announced.empty() && !told) text += "not taken for: " + image.announced + "\n";
  if (theirs.tree.empty()) return text + "no files\n";
  if (const std::string read = differences(ours, theirs); !read.empty()) {
    text += "platter (ours) and the kernel (theirs):\n" + read;
  }
  if (given) {
    const std::string written = differences(theirs, *given);
    if (!written.empty()) text += "the kernel (ours) and what was given (theirs):\n" + written;
  }
  for (const std::string& habit : idle_habits)
    text += "explains nothing: " + habit + "\n";
  return text;
}

const Witnessed& witnessed() {
  static const Witnessed kAll = ask();
  return kAll;
}

std::string words_of(const std::vector<GuestSlice>& slices) {
  std::string all;
  for (const GuestSlice& slice : slices)
    all += fmt::format("{}:{}+{} ", slice.number, slice.first, slice.blocks);
  return all;
}

}  // namespace platter::test
