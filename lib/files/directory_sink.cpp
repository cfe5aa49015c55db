// Files made below a directory.
//
// Everything is done through descriptors of directories that were opened without following links,
// so that nothing on an image can lead outside.
#include <dirent.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <iterator>
#include <limits>
#include <memory>
#include <optional>
#include <system_error>
#include <unordered_map>
#include <unordered_set>
#include <vector>

#include <fmt/format.h>

#include "core/descriptor.h"
#include "files/below.h"
#include "files/content_copier.h"
#include "files/sink.h"

namespace platter {
namespace {

constexpr mode_t kWhileWriting = 0600;
constexpr mode_t kDirectoryWhileWriting = 0700;
constexpr std::size_t kShortName = 200;  // bytes, with room for what tells twins apart

std::string reason_of(int error) {
  return std::generic_category().message(error);
}

struct timespec moment(const std::optional<Timestamp>& time, std::uint32_t nanoseconds) {
  if (!time) return {0, UTIME_OMIT};
  return {static_cast<time_t>(time->seconds), static_cast<long>(nanoseconds % 1'000'000'000U)};
}

std::array<struct timespec, 2> times_of(const Attributes& attributes) {
  const auto& accessed = attributes.accessed ? attributes.accessed : attributes.modified;
  return {moment(accessed, 0), moment(attributes.modified, attributes.modified_nanoseconds)};
}

class DirectorySink final : public FileSink {
 public:
  DirectorySink(std::string directory, const SinkOptions& options)
      : directory_(std::move(directory)), options_(options), mask_(umask(0)) {
    umask(mask_);
    const bool made = mkdir(directory_.c_str(), 0777) == 0;
    if (!made && errno != EEXIST) fail(directory_);
    root_ = Descriptor(open(directory_.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
    if (root_.get() < 0) fail(directory_);
    root_is_ours_ = made || is_empty(root_.get());
    copier_.emplace(root_.get(), directory_, options.strict);
  }

  void begin_volume(const std::string& directory) override {
    names_.clear();
    made_.clear();
    twins_.clear();
    first_names_.clear();
    parent_.reset();
    top_ = directory;
    top_is_ours_ = root_is_ours_;
    top_made_ = directory.empty();
  }

  void add(const FileVisit& file, Volume& volume, const View& view,
           std::vector<Finding>& findings) override {
    findings_ = &findings;
    enter_parent_of(file);
    std::string name = host_name(file);
    switch (file.attributes.type) {
      case NodeType::directory:
        add_directory(file, std::move(name));
        break;
      case NodeType::file:
        add_file(file, std::move(name), volume, view);
        break;
      case NodeType::symlink:
        add_symlink(file, std::move(name), volume);
        break;
      case NodeType::unknown:
        leave_out(file, "it is of no kind that could be made here", Severity::caution);
        break;
      default:
        add_special(file, std::move(name));
        break;
    }
    if (!go_on()) throw Interrupted();
  }

  void finish(std::vector<Finding>& findings) override {
    copier_->finish([this] { return go_on(); });
    take_report(findings);
    unwanted_.tell("--devices makes them", findings);
    // From the leaves up: a directory's time changes when something is made in it.
    for (auto made = directories_.rbegin(); made != directories_.rend(); ++made) {
      const Descriptor directory = open_directory(made->path);
      if (options_.owner) give_owner(directory.get(), made->uid, made->gid, made->path);
      if (fchmod(directory.get(), made->mode) != 0) fail(made->path);
      if (futimens(directory.get(), made->times.data()) != 0) fail(made->path);
    }
    directories_.clear();
  }

 private:
  struct MadeDirectory {
    std::string path;  // below the root
    mode_t mode;
    std::optional<std::uint32_t> uid;
    std::optional<std::uint32_t> gid;
    std::array<struct timespec, 2> times;
  };
  // What is in a directory that was made here, or found empty, was made here.
  struct Host {
    std::string path;  // below the root, "" for the root
    bool ours = false;
  };
  struct Parent {
    std::string path;  // decoded, as in FileVisit
    Host host;
    Descriptor descriptor;
  };

  [[noreturn]] void fail(const std::string& below) const { fail(below, errno); }
  [[noreturn]] void fail(const std::string& below, int error) const {
    fail(below, reason_of(error));
  }
  [[noreturn]] void fail(const std::string& below, std::string reason) const {
    throw IoError(below == directory_ ? below : directory_ + "/" + below, 0, 0, std::move(reason));
  }

  static std::string joined(const std::string& directory, const std::string& name) {
    return directory.empty() ? name : directory + "/" + name;
  }

  // Of what `name` is in a directory, or of the directory itself for "".
  void give_owner(int directory, const std::optional<std::uint32_t>& uid,
                  const std::optional<std::uint32_t>& gid, const std::string& host,
                  const char* name = "") const {
    if (!uid && !gid) return;
    const uid_t owner = uid.value_or(static_cast<uid_t>(-1));
    const gid_t group = gid.value_or(static_cast<gid_t>(-1));
    const int flags = AT_SYMLINK_NOFOLLOW | (*name == '\0' ? AT_EMPTY_PATH : 0);
    if (fchownat(directory, name, owner, group, flags) != 0) fail(host);
  }

  static bool is_empty(int directory) {
    const auto close_listing = [](DIR* open) { closedir(open); };
    const std::unique_ptr<DIR, decltype(close_listing)> listing(
        fdopendir(openat(directory, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC)), close_listing);
    if (listing == nullptr) return false;
    while (const dirent* entry = readdir(listing.get())) {
      const std::string_view name = entry->d_name;
      if (name != "." && name != "..") return false;
    }
    return true;
  }

  [[nodiscard]] mode_t mode_of(const Attributes& attributes, mode_t otherwise) const {
    return attributes.mode ? static_cast<mode_t>(*attributes.mode & 07777U) : otherwise & ~mask_;
  }

  // Only when something goes into it.
  void make_top() {
    if (top_made_) return;
    const bool made = mkdirat(root_.get(), top_.c_str(), 0777) == 0;
    if (!made && errno != EEXIST) fail(top_);
    top_is_ours_ = made || is_empty(open_directory(top_).get());
    top_made_ = true;
  }

  void enter_parent_of(const FileVisit& file) {
    make_top();
    const std::size_t length = file.path.size() - file.name.size();
    const std::string_view path = file.path.substr(0, length == 0 ? 0 : length - 1);
    if (parent_ && parent_->path == path) return;
    twins_.clear();
    Parent parent{std::string(path), {top_, top_is_ours_}, {}};
    const auto known = names_.find(parent.path);
    if (known != names_.end()) {
      parent.host = known->second;
      parent.descriptor = open_directory(parent.host.path);
    } else {
      parent.descriptor = open_directory(top_);
      make_parents(parent, host_directory(file));
    }
    parent_ = std::move(parent);
  }

  // Directories on the way to a file that was asked for alone.
  void make_parents(Parent& parent, std::string_view names) {
    std::string decoded;
    std::string_view rest = parent.path;
    while (!rest.empty()) {
      decoded = joined(decoded, taken_part(rest));
      const std::string part = taken_part(names);
      if (const auto known = names_.find(decoded); known != names_.end()) {
        parent.host = known->second;
        parent.descriptor = open_directory(parent.host.path);
        continue;
      }
      const std::string path = joined(parent.host.path, part);
      const bool made = mkdirat(parent.descriptor.get(), part.c_str(), 0777) == 0;
      if (!made && errno != EEXIST) fail(path);
      parent.descriptor = open_directory(path);
      parent.host = {path, made || is_empty(parent.descriptor.get())};
      names_.emplace(decoded, parent.host);
    }
  }

  static std::string taken_part(std::string_view& path) {
    const std::string part(path.substr(0, path.find('/')));
    path.remove_prefix(std::min(path.size(), part.size() + 1));
    return part;
  }

  [[nodiscard]] Descriptor open_directory(const std::string& host) const {
    Descriptor directory = open_directory_below(root_.get(), host);
    if (directory.get() < 0) fail(host);
    return directory;
  }

  // What this directory cannot hold, though it could hold other files. Everything else that goes
  // wrong (no room, no leave to write) goes wrong with the next file as well.
  static bool is_about_this_file(int error) {
    constexpr std::array kErrors = {EINVAL,     EILSEQ, ENAMETOOLONG, EPERM,   EMLINK,
                                    EOPNOTSUPP, ENOSYS, EXDEV,        ENOTDIR, EISDIR};
    return std::ranges::find(kErrors, error) != kErrors.end();
  }

  // A name that is short enough everywhere, of whole code points.
  static std::string shortened(const std::string& name) {
    std::size_t length = kShortName;
    while (length > 1 && (static_cast<unsigned char>(name[length]) & 0xC0U) == 0x80)
      --length;
    return name.substr(0, length);
  }

  // Calls make(name) until a name is free; it returns 0 or the error. False when the file is left
  // out.
  template <typename Make>
  bool make_named(const FileVisit& file, std::string& name, Make make) {
    const std::string wanted = name;
    std::string stem = wanted;
    unsigned* twin = nullptr;
    while (true) {
      int error = make(name.c_str());
      if (error == EEXIST && may_replace(name)) {
        if (unlinkat(parent_->descriptor.get(), name.c_str(), 0) == 0) error = make(name.c_str());
      }
      if (error == 0) break;
      if (error == ENAMETOOLONG && stem.size() > kShortName) {
        stem = shortened(stem);
        name = stem;
        continue;
      }
      if (error != EEXIST) {
        if (!is_about_this_file(error)) fail(joined(parent_->host.path, name), error);
        leave_out(file, reason_of(error), Severity::fault);
        return false;
      }
      if (!is_ours(stem) && !options_.replace)
        fail(joined(parent_->host.path, name), "is there already; --force replaces it");
      // Where a name is taken very often, its twins are not tried from the first one on each time.
      if (twin == nullptr) twin = &twins_.try_emplace(stem, 1).first->second;
      name = fmt::format("{}~{}", stem, ++*twin);
    }
    if (!parent_->host.ours) made_.insert(joined(parent_->host.path, name));
    if (name != wanted) {
      report(file, Severity::caution, FindingCode::name_clash,
             fmt::format("{}: became {}", printable(file.path), printable(name)));
    }
    return true;
  }

  // Whether what has this name in the present directory was made here.
  [[nodiscard]] bool is_ours(const std::string& name) const {
    return parent_->host.ours || made_.contains(joined(parent_->host.path, name));
  }

  [[nodiscard]] bool may_replace(const std::string& name) const {
    return options_.replace && !is_ours(name);
  }

  void report(const FileVisit& file, Severity severity, FindingCode code, std::string message) {
    findings_->push_back({severity, code, {}, file.entry.place, 0, std::move(message)});
  }

  void leave_out(const FileVisit& file, const std::string& reason, Severity severity) {
    ++taken_.left_out;
    report(file, severity, FindingCode::file_left_out,
           fmt::format("{}: left out: {}", printable(file.path), reason));
  }

  void add_directory(const FileVisit& file, std::string name) {
    const std::string path(file.path);
    if (const auto known = names_.find(path); known != names_.end()) {
      keep_directory(file, known->second.path);
      return;
    }
    bool ours = true;
    const bool made = make_named(file, name, [&](const char* at) {
      if (mkdirat(parent_->descriptor.get(), at, kDirectoryWhileWriting) == 0) return 0;
      // A directory that is there may be filled up.
      struct stat status {};
      const int error = errno;
      const bool reuse =
          error == EEXIST && may_replace(at) &&
          fstatat(parent_->descriptor.get(), at, &status, AT_SYMLINK_NOFOLLOW) == 0 &&
          S_ISDIR(status.st_mode);
      ours = !reuse;
      return reuse ? 0 : error;
    });
    if (!made) return;
    const std::string host = joined(parent_->host.path, name);
    names_.emplace(path, Host{host, ours});
    keep_directory(file, host);
  }

  void keep_directory(const FileVisit& file, const std::string& host) {
    ++taken_.directories;
    directories_.push_back({host, mode_of(file.attributes, 0777), file.attributes.uid,
                            file.attributes.gid, times_of(file.attributes)});
  }

  // A further name of a file that was made before. False where there can be none: the content is
  // then taken out once more.
  bool add_as_link(const FileVisit& file, std::string& name) {
    const Attributes& attributes = file.attributes;
    if (attributes.identity == 0 || attributes.links.value_or(1) < 2) return false;
    const auto first = first_names_.find(attributes.identity);
    if (first == first_names_.end()) return false;
    const PlaceBelow place(root_.get(), first->second);
    bool possible = true;
    const bool made = make_named(file, name, [&](const char* at) {
      if (linkat(place.directory.get(), place.name.c_str(), parent_->descriptor.get(), at, 0) == 0)
        return 0;
      possible = errno == EEXIST || errno == ENAMETOOLONG || !is_about_this_file(errno);
      return possible ? errno : 0;
    });
    if (made && possible) ++taken_.links;
    return possible;
  }

  void remember_name(const FileVisit& file, const std::string& name) {
    const Attributes& attributes = file.attributes;
    if (attributes.identity == 0 || attributes.links.value_or(1) < 2) return;
    first_names_.emplace(attributes.identity, joined(parent_->host.path, name));
  }

  void add_file(const FileVisit& file, std::string name, Volume& volume, const View& view) {
    if (add_as_link(file, name)) return;
    const Attributes& attributes = file.attributes;
    if (attributes.bytes > static_cast<std::uint64_t>(std::numeric_limits<off_t>::max())) {
      leave_out(file, fmt::format("it claims {} bytes", attributes.bytes), Severity::fault);
      return;
    }
    Descriptor out;
    const bool made = make_named(file, name, [&](const char* at) {
      out = Descriptor(openat(parent_->descriptor.get(), at,
                              O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, kWhileWriting));
      return out.get() >= 0 ? 0 : errno;
    });
    if (!made) return;
    CopyJob job{.out = std::move(out),
                .host = joined(parent_->host.path, name),
                .path = std::string(file.path),
                .view = view,
                .extents = {},
                .bytes = attributes.bytes,
                .mode = mode_of(attributes, 0666),
                .times = times_of(attributes),
                .uid = {},
                .gid = {}};
    if (options_.owner) {
      job.uid = attributes.uid;
      job.gid = attributes.gid;
    }
    each_present_extent(volume, view, file.entry.node, [&](const Extent& extent) {
      job.extents.push_back(extent);
      taken_.bytes += extent.absent ? 0 : extent.bytes;
      return true;
    });
    ++taken_.files;
    remember_name(file, name);
    copier_->copy(std::move(job), [this] { return go_on(); });
    take_report(*findings_);
  }

  [[nodiscard]] bool go_on() const { return !options_.on_progress || options_.on_progress(taken_); }

  void take_report(std::vector<Finding>& findings) {
    ContentCopier::Report report = copier_->take_report();
    taken_.left_out += report.left_out;
    taken_.files -= report.left_out;
    std::ranges::move(report.findings, std::back_inserter(findings));
  }

  void add_symlink(const FileVisit& file, std::string name, Volume& volume) {
    if (add_as_link(file, name)) return;
    const std::string target = volume.link_target(file.entry.node);
    if (target.empty() || target.find('\0') != std::string::npos) {
      leave_out(file, "the link leads nowhere", Severity::fault);
      return;
    }
    const bool made = make_named(file, name, [&](const char* at) {
      return symlinkat(target.c_str(), parent_->descriptor.get(), at) == 0 ? 0 : errno;
    });
    if (!made) return;
    const int parent = parent_->descriptor.get();
    const std::string host = joined(parent_->host.path, name);
    if (options_.owner)
      give_owner(parent, file.attributes.uid, file.attributes.gid, host, name.c_str());
    const auto times = times_of(file.attributes);
    if (utimensat(parent, name.c_str(), times.data(), AT_SYMLINK_NOFOLLOW) != 0) fail(host);
    ++taken_.links;
    remember_name(file, name);
  }

  void add_special(const FileVisit& file, std::string name) {
    if (!options_.devices) {
      ++taken_.left_out;
      unwanted_.add(file.path);
      return;
    }
    if (add_as_link(file, name)) return;
    const Attributes& attributes = file.attributes;
    const mode_t kind = attributes.type == NodeType::char_device    ? S_IFCHR
                        : attributes.type == NodeType::block_device ? S_IFBLK
                        : attributes.type == NodeType::fifo         ? S_IFIFO
                                                                    : S_IFSOCK;
    const DeviceNumber number = attributes.device.value_or(DeviceNumber{});
    const bool made = make_named(file, name, [&](const char* at) {
      return mknodat(parent_->descriptor.get(), at, kind | kWhileWriting,
                     makedev(number.major, number.minor)) == 0
                 ? 0
                 : errno;
    });
    if (!made) return;
    const int parent = parent_->descriptor.get();
    const std::string host = joined(parent_->host.path, name);
    if (options_.owner) give_owner(parent, attributes.uid, attributes.gid, host, name.c_str());
    if (fchmodat(parent, name.c_str(), mode_of(attributes, 0666), 0) != 0) fail(host);
    const auto times = times_of(attributes);
    if (utimensat(parent, name.c_str(), times.data(), AT_SYMLINK_NOFOLLOW) != 0) fail(host);
    ++taken_.others;
    remember_name(file, name);
  }

  std::string directory_;
  SinkOptions options_;
  mode_t mask_;
  Descriptor root_;
  bool root_is_ours_ = false;
  bool top_made_ = true;
  bool top_is_ours_ = false;
  std::string top_;                                  // directory of the volume, below the root
  std::unordered_map<std::string, Host> names_;      // by the decoded path of a directory
  std::unordered_set<std::string> made_;             // host paths, in directories that are not ours
  std::unordered_map<std::string, unsigned> twins_;  // the last twin of a name of the parent
  std::unordered_map<std::uint64_t, std::string> first_names_;
  std::optional<Parent> parent_;
  std::vector<MadeDirectory> directories_;
  LeftOutKinds unwanted_;
  std::vector<Finding>* findings_ = nullptr;
  std::optional<ContentCopier> copier_;  // last: its thread works on what is above
};

}  // namespace

std::unique_ptr<FileSink> directory_sink(const std::string& directory, const SinkOptions& options) {
  return std::make_unique<DirectorySink>(directory, options);
}

}  // namespace platter
