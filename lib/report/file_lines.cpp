#include "report/file_lines.h"

#include <array>
#include <charconv>

#include <fmt/format.h>

#include "core/charset.h"
#include "files/content.h"
#include "plan/size.h"
#include "report/json_text.h"
#include "report/time_text.h"
#include "report/writing.h"

namespace platter {
namespace {

constexpr std::size_t kBuffer = 64 * 1024;

void append_number(std::string& out, std::uint64_t number) {
  std::array<char, 20> digits;
  const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), number).ptr;
  out.append(digits.data(), static_cast<std::size_t>(end - digits.data()));
}

void append_octal(std::string& out, std::uint32_t mode) {
  for (const unsigned shift : {9U, 6U, 3U, 0U}) {
    out.push_back(static_cast<char>('0' + (mode >> shift & 7U)));
  }
}

void put_number(std::string& out, std::string_view key, std::uint64_t number) {
  out += key;
  append_number(out, number);
}

void put_optional(std::string& out, std::string_view key, const std::optional<std::uint32_t>& number) {
  if (number) put_number(out, key, *number);
}

void put_text(std::string& out, std::string_view key, std::string_view utf8) {
  out += key;
  append_json_text(out, utf8);
}

char type_letter(NodeType type) noexcept {
  switch (type) {
    case NodeType::file: return '-';
    case NodeType::directory: return 'd';
    case NodeType::symlink: return 'l';
    case NodeType::char_device: return 'c';
    case NodeType::block_device: return 'b';
    case NodeType::fifo: return 'p';
    case NodeType::socket: return 's';
    case NodeType::unknown: break;
  }
  return '?';
}

}  // namespace

std::string mode_words(const Attributes& attributes) {
  std::string words(10, ' ');
  words[0] = type_letter(attributes.type);
  if (!attributes.mode) return words;
  const std::uint32_t mode = *attributes.mode;
  constexpr std::string_view kLetters = "rwxrwxrwx";
  for (std::size_t i = 0; i < kLetters.size(); ++i) {
    words[i + 1] = (mode & (0400U >> i)) != 0 ? kLetters[i] : '-';
  }
  // Set-user-id, set-group-id and sticky share the places of the execute bits.
  const auto special = [&](std::uint32_t bit, std::size_t at, char with, char without) {
    if ((mode & bit) != 0) words[at] = words[at] == 'x' ? with : without;
  };
  special(04000, 3, 's', 'S');
  special(02000, 6, 's', 'S');
  special(01000, 9, 't', 'T');
  return words;
}

FileLines::FileLines(std::ostream& out, FileListing listing, bool details, const TextStyle& style)
    : out_(out), listing_(listing), details_(details), style_(style) {
  buffer_.reserve(kBuffer * 2);
}

FileLines::~FileLines() { flush(); }

void FileLines::flush() {
  out_.write(buffer_.data(), static_cast<std::streamsize>(buffer_.size()));
  buffer_.clear();
}

void FileLines::begin(const OpenVolume& volume, bool headed) {
  volume_ = &volume;
  json_start_ = "{\"layer\":";
  append_json_text(json_start_, volume.layer->id);
  json_start_ += ",\"path\":";
  if (!headed || listing_ == FileListing::json) return;
  if (!first_) buffer_ += '\n';
  first_ = false;
  buffer_ += emphasised(fmt::format("{}: {}", printable(volume.layer->id), volume.layer->title),
                        kHeading, style_);
  buffer_ += '\n';
}

void FileLines::add(const FileVisit& file) {
  if (listing_ == FileListing::json) {
    add_json(file);
  } else {
    add_words(file);
  }
  if (buffer_.size() >= kBuffer) flush();
}

void FileLines::add_json(const FileVisit& file) {
  const Attributes& attributes = file.attributes;
  std::string& out = buffer_;
  out += json_start_;
  append_json_text(out, file.path);
  if (!file.exact) put_text(out, ",\"raw\":", hex_of(file.raw_path));
  out += ",\"type\":\"";
  out += node_type_name(attributes.type);
  put_number(out, "\",\"bytes\":", attributes.bytes);
  if (attributes.mode) {
    out += ",\"mode\":\"";
    append_octal(out, *attributes.mode);
    out += '"';
  }
  put_optional(out, ",\"uid\":", attributes.uid);
  put_optional(out, ",\"gid\":", attributes.gid);
  put_optional(out, ",\"links\":", attributes.links);
  if (attributes.modified) {
    out += ",\"modified\":\"";
    append_iso8601(out, attributes.modified->seconds);
    out += '"';
  }
  if (attributes.type == NodeType::symlink) {
    const std::string raw = volume_->volume->link_target(file.entry.node);
    const Decoded target = decode_text(raw, file.entry.charset);
    put_text(out, ",\"target\":", target.utf8);
    if (!target.exact) put_text(out, ",\"target_raw\":", hex_of(raw));
  }
  if (attributes.device) {
    put_number(out, ",\"device\":[", attributes.device->major);
    put_number(out, ",", attributes.device->minor);
    out += ']';
  }
  if (attributes.type == NodeType::file || attributes.type == NodeType::directory) {
    add_extents(file.entry.node);
  }
  out += "}\n";
}

void FileLines::add_extents(NodeId node) {
  buffer_ += ",\"extents\":[";
  bool first = true;
  each_present_extent(*volume_->volume, volume_->view, node, [&](const Extent& extent) {
    if (extent.absent) return true;
    put_number(buffer_, first ? "[" : ",[", extent.start);
    put_number(buffer_, ",", extent.bytes);
    buffer_ += ']';
    first = false;
    // A file may have as many extents as its volume has blocks.
    if (buffer_.size() >= kBuffer) flush();
    return true;
  });
  buffer_ += ']';
}

void FileLines::add_words(const FileVisit& file) {
  const Attributes& attributes = file.attributes;
  std::string& out = buffer_;
  if (details_) {
    out += mode_words(attributes);
    const auto number = [](const std::optional<std::uint32_t>& value) {
      return value ? std::to_string(*value) : std::string("-");
    };
    const std::string size = attributes.device
                                 ? fmt::format("{},{}", attributes.device->major, attributes.device->minor)
                                 : std::to_string(attributes.bytes);
    out += fmt::format(" {:>3} {:>5} {:>5} {:>11} {:<20}  ", number(attributes.links),
                       number(attributes.uid), number(attributes.gid), size,
                       attributes.modified ? iso8601(attributes.modified->seconds) : "-");
  }
  const bool tree = listing_ == FileListing::tree;
  if (tree) out.append(2 * static_cast<std::size_t>(file.depth), ' ');
  out += printable(tree ? file.name : file.path);
  if (attributes.type == NodeType::directory) out += '/';
  if (details_ && attributes.type == NodeType::symlink) {
    out += " -> ";
    out += printable(decode_text(volume_->volume->link_target(file.entry.node), file.entry.charset).utf8);
  }
  out += '\n';
}

}  // namespace platter
