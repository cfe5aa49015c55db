// The page docs/kernel-evidence.md.
#include <algorithm>
#include <numeric>

#include <fmt/format.h>

#include "kernel/witness.h"

namespace platter::test {
namespace {

constexpr std::string_view kIntroduction = R"(# What a stock kernel read from the same images

This page is written by the witness tests (`tests/kernel`, see `DEVELOPERS.md`). A stock Linux kernel
starts once in an emulator with every image attached, read-only. Its parsers of partition tables and
its filesystem drivers share no code with platter. It tells the slices that it found, and of every
file the path, type, size, permissions, owner, group, number of links, time of last modification,
target of a symbolic link, device number, and the SHA-256 of what it read.

Compared are, of each volume, what the kernel read with what platter reads, and with what the
fixture writer was given where a fixture writer made the volume. The kernel must have no word of
complaint about it in its log.

How far this goes:

* Volumes of the fixture writers hold: empty files and files of one byte; sizes of one byte less than,
  as many as, and one byte more than a block and what the levels of the block map reach, up to 9 MiB;
  holes at the start, at the end and throughout; the longest name (250 bytes in Rock Ridge, 60
  characters in Joliet); 100 to 1500 names in one directory;
  five levels of directories; hard links; symbolic links around the lengths at which they are stored
  in another way; devices and fifos; times before 1970 and of 2038. What a filesystem or its fixture
  writer cannot hold is left out.
* Volumes inside slices are mounted by the kernel's own partition devices (`vda1` and so on), and
  read by platter as `--in LAYER` takes the slice.
* Volumes of the stock makers hold one tree of the same kind, with a name outside ASCII.
* Sizes and link counts of directories are not compared: drivers count them in their own ways.
* A driver makes up what the filesystem does not keep (owners of FAT files, for instance). That is
  left out of the comparison and named below.
* Xenix with blocks of 2048 bytes and V7 in big-endian order are left out, because no driver takes
  them. The driver takes the superblock of a Coherent volume from byte 0 as well, so it is given a
  copy there. High Sierra it takes without an option.
* Some drivers are lenient. That a volume mounts says little; that all of its files are read in full
  says that its directories, inodes and block maps are right. Free lists, bitmaps and counts are not
  read from a volume that is mounted read-only; other tests compare those.
)";

std::string left_out(const TreeView& kept) {
  std::string text;
  const auto add = [&](bool holds, const char* words) {
    if (holds) return;
    text += (text.empty() ? "not kept: " : ", ") + std::string(words);
  };
  add(kept.modes, "permissions");
  add(kept.ids, "owners");
  add(kept.links, "number of links");
  add(kept.times, "times");
  return text;
}

std::string explained(const WitnessedVolume& volume) {
  std::string text = left_out(volume.image.kept);
  if (!volume.image.announced.empty()) {
    text += (text.empty() ? "" : "; ") + ("`" + volume.image.announced + "`");
  }
  for (const DriverHabit& habit : volume.image.habits)
    text += (text.empty() ? "" : "; ") + habit.words;
  if (!volume.image.given_names && volume.image.given) {
    text +=
        (text.empty() ? "" : "; ") + std::string("names are not those that the writer was given");
  }
  return text;
}

std::string result(const WitnessedVolume& volume) {
  if (!volume.disagreement().empty()) return "**differs**";
  return volume.given ? "platter, writer" : "platter";
}

}  // namespace

std::string kernel_evidence_page(const Witnessed& all) {
  std::string page{kIntroduction};
  page += fmt::format("\nKernel: `{}`\n", all.kernel);
  page += "\n## Partition tables\n\nAll made by the fixture writers.\n\n";
  page += "| table | slices | start and size of each | numbers |\n|---|---|---|---|\n";
  for (const WitnessedTable& table : all.tables) {
    const bool equal = words_of(table.ours) == words_of(table.theirs.slices);
    page += fmt::format("| {} | {} | {} | {} |\n", table.image->name, table.ours.size(),
                        equal ? "agree" : "**differ**",
                        table.image->number == nullptr ? "counted in another way"
                        : equal                        ? "agree"
                                                       : "**differ**");
  }
  page += "\nOf an extended partition this kernel shows two blocks, whatever its size.\n";
  page +=
      "\n## Volumes\n\nThe last but one column names whom the kernel agrees with in everything "
      "else than the "
      "last column says: what the filesystem does not keep, how the driver differs and why, and "
      "what it took the volume for.\n\n";
  const std::string head =
      "| volume | made by | driver | options | names | MiB | agrees with | remarks |\n"
      "|---|---|---|---|---|---|---|---|\n";
  page += head;
  bool in_slices = false;
  for (const WitnessedVolume& volume : all.volumes) {
    const VolumeImage& image = volume.image;
    if (!image.slice.empty() && !in_slices) {
      in_slices = true;
      page += "\n## Volumes inside slices\n\n" + head;
    }
    const std::uint64_t bytes =
        std::accumulate(volume.theirs.tree.begin(), volume.theirs.tree.end(), std::uint64_t{0},
                        [](std::uint64_t sum, const auto& one) { return sum + one.second.bytes; });
    const std::string options = image.options.empty() ? "" : "`" + image.options + "`";
    const std::string place =
        in_slices ? fmt::format("; `{}`, partition {}", image.slice, image.number) : "";
    page += fmt::format("| {} | {}{} | {} | {} | {} | {:.1f} | {} | {} |\n", image.name,
                        image.made_by, place, image.type, options, volume.theirs.tree.size(),
                        static_cast<double>(bytes) / (1 << 20), result(volume), explained(volume));
  }
  return page;
}

}  // namespace platter::test
