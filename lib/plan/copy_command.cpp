#include "plan/copy_command.h"

#include <algorithm>
#include <bit>

#include <fmt/format.h>

#include "core/charset.h"

namespace platter::plan {
namespace {

constexpr std::uint64_t kMostCopyBlock = 4 * kMiB;
// How much dd takes out of a pipe at once; without it the standard's 512 bytes apply.
constexpr std::uint64_t kPipeRead = 64 * kKiB;

struct Decompressor {
  std::string_view container;
  std::string_view command;
};
// compress is the only one POSIX has; the others are the tools that go with their formats.
constexpr Decompressor kDecompressors[] = {{"gzip", "gzip -dc"},
                                           {"bzip2", "bzip2 -dc"},
                                           {"xz", "xz -dc"},
                                           {"zstd", "zstd -dc"},
                                           {"compress", "uncompress -c"}};

// A path inside a command: `word` goes where the path belongs, `before` ahead of the command.
struct ShellPath {
  std::string before;
  std::string word;
};

std::string single_quoted(std::string_view text) {
  std::string word = "'";
  for (const char c : text) {
    if (c == '\'') {
      word += "'\\''";
    } else {
      word += c;
    }
  }
  return word + "'";
}

// The bytes as a printf format of printable ASCII. Letters and the like stay readable.
std::string printf_format(std::string_view text) {
  std::string format;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto byte = static_cast<unsigned char>(text[i]);
    const bool plain = byte > 0x20 && byte < 0x7F &&
                       std::string_view("%\\'").find(text[i]) == std::string_view::npos;
    if (plain && !(i == 0 && byte == '-')) {
      format += text[i];
    } else {
      format += fmt::format("\\{:03o}", byte);
    }
  }
  return format;
}

// Bytes that are no printable text cannot stand in a line, so printf makes them. Command
// substitution drops newlines at the end, hence the dot that is taken off again.
ShellPath shell_path(std::string_view path, char variable) {
  if (printable(path) == path) return {"", single_quoted(path)};
  return {fmt::format("{}=$(printf '{}.') && ", variable, printf_format(path)),
          fmt::format("\"${{{}%.}}\"", variable)};
}

// "gzip -dc <'path' | bzip2 -dc", or a reason.
CopyCommand decompression(const std::vector<std::string>& container, const std::string& path) {
  CopyCommand pipe;
  for (const std::string& kind : container) {
    const auto* known = std::ranges::find(kDecompressors, kind, &Decompressor::container);
    if (known == std::end(kDecompressors)) {
      return {"", fmt::format("no portable command takes an image out of a {} archive",
                              printable(kind))};
    }
    pipe.line += pipe.line.empty() ? fmt::format("{} <{}", known->command, path)
                                   : fmt::format(" | {}", known->command);
  }
  return pipe;
}

}  // namespace

std::uint64_t copy_block_bytes(std::uint64_t start) noexcept {
  const std::uint64_t lowest_bit = start & (~start + 1);
  return start == 0 ? kMostCopyBlock : std::min(lowest_bit, kMostCopyBlock);
}

CopyCommand copy_command(std::string_view image_path, const std::vector<std::string>& container,
                         std::string_view card_path, std::uint64_t start) {
  const ShellPath image = shell_path(image_path, 'i');
  const ShellPath card = shell_path(card_path, 'o');
  const std::uint64_t block = copy_block_bytes(start);
  const std::uint64_t seek = start / block;
  if (container.empty()) {
    return {fmt::format("{}{}dd if={} of={} bs={} seek={} conv=notrunc", image.before, card.before,
                        image.word, card.word, block, seek),
            ""};
  }
  CopyCommand pipe = decompression(container, image.word);
  if (pipe.line.empty()) return pipe;
  // obs= and not bs=: only then are short reads from the pipe gathered into whole blocks.
  pipe.line = fmt::format("{}{}{} | dd of={} ibs={} obs={} seek={} conv=notrunc", image.before,
                          card.before, pipe.line, card.word, kPipeRead, block, seek);
  return pipe;
}

CopyCommand copy_command(const Plan& plan, const Region& region, std::string_view plan_path) {
  if (region.image.empty()) return {"", "the region has no image"};
  if (plan.card_path.empty()) return {"", "the plan names no card"};
  if (region.known && !region.known->framing.empty()) {
    return {"", fmt::format(
                    "the image is stored as {}; make the plain image with 'platter plain' first",
                    region.known->framing)};
  }
  const std::vector<std::string> none;
  return copy_command(beside(plan_path, region.image),
                      region.known ? region.known->container : none,
                      beside(plan_path, plan.card_path), region.start);
}

}  // namespace platter::plan
