// CHRP boot: \ppc\bootinfo.txt of an optical volume, or a client program in a slice of type 0x41.
#include "boot/chrp_boot.h"

#include <algorithm>
#include <utility>
#include <vector>

#include "boot/prep_boot.h"
#include "core/claim.h"
#include "filesystem/iso9660_descriptors.h"

namespace platter::boot {
namespace {

using namespace filesystem::iso9660;

// Bounds of ours: directories are read so far, scripts so far.
constexpr std::uint64_t kLongestDirectory = 256 * 1024;
constexpr std::uint64_t kLongestScript = 64 * 1024;
constexpr std::size_t kLongestCommand = 256;

char lower(char c) {
  return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

std::string lowered(std::string text) {
  std::ranges::transform(text, text.begin(), lower);
  return text;
}

// "BOOTINFO.TXT;1" -> "bootinfo.txt"
std::string plain_name(const std::string& recorded) {
  std::string name = lowered(recorded.substr(0, recorded.find(';')));
  if (!name.empty() && name.back() == '.') name.pop_back();
  return name;
}

struct Found {
  std::uint64_t start = 0;  // in the volume
  std::uint64_t bytes = 0;
  std::string name;
  std::uint64_t record = 0;  // in the volume
};

// The record of that name in a directory; records do not cross sectors (ECMA-119 6.8.1.1).
std::optional<Found> find_in(const View& volume, const TreeShape& shape, std::uint64_t start,
                             std::uint64_t bytes, std::string_view name, bool directory) {
  const auto data = volume.read_vector(start, std::min(bytes, kLongestDirectory));
  std::size_t at = 0;
  while (at + kDirectoryRecord.bytes <= data.size()) {
    const FieldReader<kDirectoryRecord> record(data.data() + at, ByteOrder::little);
    const auto length = static_cast<std::size_t>(record.get<"length">());
    const std::size_t named = kDirectoryRecord.bytes + record.get<"identifier_length">();
    if (length < named || at + length > data.size()) {
      at = (at / kSectorBytes + 1) * kSectorBytes;
      continue;
    }
    const auto* text = reinterpret_cast<const char*>(data.data() + at + kDirectoryRecord.bytes);
    std::string recorded(text, record.get<"identifier_length">());
    const bool is_directory = (record.get<"flags">() & kDirectoryFlag) != 0;
    if (is_directory == directory && plain_name(recorded) == name) {
      const std::uint64_t block = record.get<"extent">() + record.get<"attribute_blocks">();
      return Found{shape.place_of(block), record.get<"bytes">(), std::move(recorded), start + at};
    }
    at += length;
  }
  return std::nullopt;
}

// The text between <boot-script> and the next element, blanks joined.
std::string command_in(const std::string& text, std::size_t from) {
  std::string command;
  for (std::size_t i = from; i < text.size() && text[i] != '<'; ++i) {
    if (command.size() >= kLongestCommand) break;
    const bool blank = text[i] == ' ' || text[i] == '\t' || text[i] == '\r' || text[i] == '\n';
    if (!blank) {
      command += text[i];
    } else if (!command.empty() && command.back() != ' ') {
      command += ' ';
    }
  }
  if (!command.empty() && command.back() == ' ') command.pop_back();
  return command;
}

void read_script(const View& volume, const Found& file, BootScript& script) {
  const auto data = volume.read_vector(file.start, std::min(file.bytes, kLongestScript));
  const std::string text(reinterpret_cast<const char*>(data.data()), data.size());
  const std::string folded = lowered(text);
  script.begins_right = folded.starts_with(kChrpElement);
  const std::size_t element = folded.find(kChrpScript);
  script.has_script = element != std::string::npos;
  if (script.has_script) script.command = command_in(text, element + kChrpScript.size());
}

Claim script_claim(const BootScript& script) {
  Claim claim;
  claim.start = script.start;
  claim.bytes = script.bytes;
  claim.strength = script.begins_right && script.has_script ? Strength::sane : Strength::magic;
  claim.title = "CHRP boot script";
  claim.facts.set("machine", "ppc-of")
      .set("path", "\\ppc\\bootinfo.txt")
      .set_text("recorded_name", script.name)
      .set("directory_record", script.record)
      .set("begins_with_element", script.begins_right)
      .set("boot_script", script.has_script);
  if (!script.command.empty()) claim.facts.set_text("command", script.command);
  return claim;
}

Claim program_claim(const View& view, const Context& context, ClientProgram program) {
  Claim claim;
  claim.start = view.start();
  claim.bytes = context.slice->bytes;
  claim.title = "CHRP client program";
  claim.facts.set("machine", "ppc-of").set("program", client_program_name(program));
  return claim;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  std::vector<Claim> result;
  if (context.below != nullptr && context.below_format == "iso9660") {
    if (const auto script = find_boot_script(view)) result.push_back(script_claim(*script));
  } else if (is_prep_slice(context)) {
    const ClientProgram program = client_program_at(view, 0);
    if (program != ClientProgram::none) result.push_back(program_claim(view, context, program));
  }
  return result;
}

}  // namespace

std::optional<BootScript> find_boot_script(const View& volume) {
  const DescriptorSet set = read_descriptors(volume);
  if (set.primary.empty()) return std::nullopt;
  const TreeShape shape = shape_of(set.primary.front());
  if (shape.block_bytes == 0) return std::nullopt;
  const auto folder =
      find_in(volume, shape, shape.place_of(shape.root_extent), shape.root_bytes, "ppc", true);
  if (!folder) return std::nullopt;
  const auto file = find_in(volume, shape, folder->start, folder->bytes, "bootinfo.txt", false);
  if (!file) return std::nullopt;
  BootScript script;
  script.start = saturating_add(volume.start(), file->start);
  script.bytes = file->bytes;
  script.name = file->name;
  script.record = saturating_add(volume.start(), file->record);
  read_script(volume, *file, script);
  return script;
}

extern const Format chrp_boot_format;
const Format chrp_boot_format = {
    .id = "chrp-boot", .title = "CHRP boot script", .stage = Stage::boot, .claims = claims};

}  // namespace platter::boot
