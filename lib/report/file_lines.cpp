#include "report/file_lines.h"

#include <algorithm>
#include <streambuf>
#include <thread>
#include <utility>

#include <fmt/format.h>

#include "core/charset.h"
#include "files/cut_watch.h"
#include "plan/size.h"
#include "report/json_text.h"
#include "report/time_text.h"
#include "report/writing.h"

namespace platter {
namespace {

// Room for everything of a line but its texts.
constexpr std::size_t kFixed = 512;

char type_letter(NodeType type) noexcept {
  switch (type) {
    case NodeType::file:
      return '-';
    case NodeType::directory:
      return 'd';
    case NodeType::symlink:
      return 'l';
    case NodeType::char_device:
      return 'c';
    case NodeType::block_device:
      return 'b';
    case NodeType::fifo:
      return 'p';
    case NodeType::socket:
      return 's';
    case NodeType::unknown:
      break;
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
    : out_(out), buffer_(out), listing_(listing), details_(details), style_(style) {}

void FileLines::begin(const OpenVolume& volume, bool headed) {
  volume_ = &volume;
  json_start_ = "{\"layer\":";
  append_json_text(json_start_, volume.layer->id);
  json_start_ += ",\"path\":\"";
  if (!headed || listing_ == FileListing::json) return;
  std::string heading = first_ ? "" : "\n";
  first_ = false;
  heading += emphasised(fmt::format("{}: {}", printable(volume.layer->id), volume.layer->title),
                        kHeading, style_);
  buffer_.put(heading + '\n');
}

// Makes lines into a string.
class FileLines::Second final : public SecondReader {
 public:
  Second(const FileLines& first, const OpenVolume& volume)
      : open_{volume.layer, volume.view, volume.open_again(), {}},
        out_(&text_),
        lines_(out_, first.listing_, first.details_, first.style_) {
    lines_.begin(open_, false);
  }
  [[nodiscard]] bool is_open() const noexcept { return open_.volume != nullptr; }
  [[nodiscard]] Volume& volume() override { return *open_.volume; }
  std::size_t add(const FileVisit& file) override {
    lines_.add(file);
    return text_.taken.size();
  }
  [[nodiscard]] std::string take_text(std::string spare) override {
    lines_.flush();
    return std::exchange(text_.taken, std::move(spare));
  }

 private:
  struct Text final : std::streambuf {
    std::string taken;

    std::streamsize xsputn(const char* text, std::streamsize bytes) override {
      taken.append(text, static_cast<std::size_t>(bytes));
      return bytes;
    }
    int_type overflow(int_type c) override {
      if (c != traits_type::eof()) taken += traits_type::to_char_type(c);
      return traits_type::not_eof(c);
    }
  };

  OpenVolume open_;
  Text text_;
  std::ostream out_;
  FileLines lines_;
};

void FileLines::list(const OpenVolume& volume, bool headed, Selection& selection,
                     std::vector<Finding>& findings) {
  begin(volume, headed);
  const auto go_on = [&] { return out_ ? Step::go_on : Step::stop; };
  CutWatch watch(*volume.volume, volume.view, volume.layer->bytes);
  const auto visit = [&](const FileVisit& file) {
    watch.look(file);
    add(file);
    return go_on();
  };
  const bool tree = listing_ == FileListing::tree;
  if (tree || watch.is_cut() || !selection.everything() || !volume.open_again ||
      std::thread::hardware_concurrency() < 2) {
    selection.walk(*volume.volume, visit, findings,
                   tree ? WalkOrder::nested : WalkOrder::by_directory);
    watch.tell(findings);
    return;
  }
  const auto put = [&](std::string_view text) {
    buffer_.put_large(text);
    return go_on();
  };
  const auto second = [&]() -> std::unique_ptr<SecondReader> {
    auto reader = std::make_unique<Second>(*this, volume);
    return reader->is_open() ? std::move(reader) : nullptr;
  };
  walk_to_text(*volume.volume, visit, put, second, findings);
}

void FileLines::add(const FileVisit& file) {
  if (listing_ == FileListing::json) {
    add_json(file);
  } else {
    add_words(file);
  }
}

void FileLines::add_json(const FileVisit& file) {
  const Attributes& attributes = file.attributes;
  const bool has_extents =
      attributes.type == NodeType::file || attributes.type == NodeType::directory;
  const auto begin = [&](std::size_t path_bytes) {
    LinePiece out = buffer_.piece(json_start_.size() + path_bytes + kFixed);
    out.put(json_start_);
    return out;
  };
  LinePiece out = begin(file.plain ? file.path.size() : 0);
  if (file.plain) {
    out.put(file.path);
    out.put('"');
  } else {
    std::string path;
    append_json_text(path, file.path);
    if (!file.exact) path += ",\"raw\":\"" + hex_of(file.raw_path) + '"';
    out = begin(path.size());
    out.put(std::string_view(path).substr(1));  // the quotation mark is there
  }
  out.put(",\"type\":\"");
  out.put(node_type_name(attributes.type));
  out.put("\",\"bytes\":");
  out.put(attributes.bytes);
  out.put(owner_words(attributes));
  if (attributes.device) {
    out.put(",\"device\":[");
    out.put(std::uint64_t{attributes.device->major});
    out.put(',');
    out.put(std::uint64_t{attributes.device->minor});
    out.put(']');
  }
  if (has_extents) out.put(",\"extents\":[");
  buffer_.add(out);
  if (has_extents) {
    add_extents(file.entry);
    return;
  }
  if (attributes.type == NodeType::symlink) add_target(file);
  buffer_.put("}\n");
}

void FileLines::add_target(const FileVisit& file) {
  const std::string raw = volume_->volume->link_target(file.entry.node);
  const Decoded target = decode_text(raw, file.entry.charset);
  std::string text = ",\"target\":";
  append_json_text(text, target.utf8);
  if (!target.exact) text += ",\"target_raw\":\"" + hex_of(raw) + '"';
  buffer_.put(text);
}

// The extents and the end of the line. Joined and clipped like each_present_extent() does, but in
// one step: nearly every file has one extent, and a list has a hundred thousand of them.
void FileLines::add_extents(const Entry& entry) {
  const std::uint64_t begin = volume_->view.start();
  const std::uint64_t end = begin + volume_->view.bytes();
  Extent held;
  const auto put_held = [&](LinePiece& out) {
    out.put('[');
    out.put(held.start);
    out.put(',');
    out.put(held.bytes);
    out.put(']');
  };
  const auto take = [&](const Extent& extent) {
    if (extent.absent || extent.start < begin || extent.start >= end) return true;
    const std::uint64_t bytes = std::min(extent.bytes, end - extent.start);
    if (held.bytes != 0) {
      if (held.start + held.bytes == extent.start && held.offset + held.bytes == extent.offset) {
        held.bytes += bytes;
        return true;
      }
      // A file may have as many extents as its volume has blocks.
      LinePiece out = buffer_.piece(kFixed);
      put_held(out);
      out.put(',');
      buffer_.add(out);
    }
    held.offset = extent.offset;
    held.start = extent.start;
    held.bytes = bytes;
    return true;
  };
  if (entry.extent != nullptr) {
    take(*entry.extent);
  } else {
    volume_->volume->each_extent(entry.node, take);
  }
  LinePiece out = buffer_.piece(kFixed);
  if (held.bytes != 0) put_held(out);
  out.put("]}\n");
  buffer_.add(out);
}

// Mode, owner, count of names and time. Files of one directory mostly have the same.
std::string_view FileLines::owner_words(const Attributes& attributes) {
  const OwnerWords::Key key{attributes.mode, attributes.uid, attributes.gid, attributes.links,
                            attributes.modified};
  if (key == owner_.key) return owner_.words;
  owner_.key = key;
  std::string& words = owner_.words;
  words.clear();
  if (key.mode) words += fmt::format(",\"mode\":\"{:04o}\"", *key.mode);
  if (key.uid) words += fmt::format(",\"uid\":{}", *key.uid);
  if (key.gid) words += fmt::format(",\"gid\":{}", *key.gid);
  if (key.links) words += fmt::format(",\"links\":{}", *key.links);
  if (key.modified) {
    words += ",\"modified\":\"";
    append_iso8601(words, key.modified->seconds);
    words += '"';
  }
  return words;
}

void FileLines::add_words(const FileVisit& file) {
  const Attributes& attributes = file.attributes;
  std::string out;
  if (details_) {
    out += mode_words(attributes);
    const auto number = [](const std::optional<std::uint32_t>& value) {
      return value ? std::to_string(*value) : std::string("-");
    };
    const std::string size =
        attributes.device ? fmt::format("{},{}", attributes.device->major, attributes.device->minor)
                          : std::to_string(attributes.bytes);
    out += fmt::format(" {:>3} {:>5} {:>5} {:>11} {:<20}  ", number(attributes.links),
                       number(attributes.uid), number(attributes.gid), size,
                       attributes.modified ? iso8601(attributes.modified->seconds) : "-");
  }
  const bool tree = listing_ == FileListing::tree;
  if (tree) out.append(2 * static_cast<std::size_t>(file.depth), ' ');
  const std::string_view shown = tree ? file.name : file.path;
  if (file.plain) {
    out += shown;
  } else {
    out += printable(shown);
  }
  if (attributes.type == NodeType::directory) out += '/';
  if (details_ && attributes.type == NodeType::symlink) {
    out += " -> ";
    out += printable(
        decode_text(volume_->volume->link_target(file.entry.node), file.entry.charset).utf8);
  }
  out += '\n';
  buffer_.put(out);
}

}  // namespace platter
